import pytest
from django.urls import reverse

from nursery import access
from nursery.models import Worker
from tests.factories import make_worker


@pytest.mark.parametrize("path", ["/", "/flats", "/bench", "/find?code=F"])
def test_a_shared_tablet_is_asked_before_it_works(idle_tablet, path):
    answer = idle_tablet.get(path)
    assert answer.status_code == 302
    assert answer.url.startswith(reverse("who"))


def test_a_post_of_nobody_stores_nothing_and_asks(idle_tablet):
    answer = idle_tablet.post("/bench/start")
    assert answer.url.startswith(reverse("who"))
    assert "Nothing was stored" in idle_tablet.get(answer.url).content.decode()


def test_htmx_is_led_to_the_page_itself(idle_tablet):
    answer = idle_tablet.post("/bench/start", headers={"HX-Request": "true"})
    assert answer.headers["HX-Redirect"].startswith(reverse("who"))


def test_marks_are_not_sent_away_to_a_page(idle_tablet):
    assert idle_tablet.post("/api/marks", data=b"x", content_type="application/json").status_code == 400


def test_shows_those_who_work_here_now(idle_tablet):
    make_worker("Wren")
    make_worker("Finch", is_active=False)
    text = idle_tablet.get(reverse("who")).content.decode()
    assert "Wren" in text
    assert "Finch" not in text


def test_takes_the_tapped_name_and_goes_on(idle_tablet):
    wren = make_worker("Wren")
    answer = idle_tablet.post(reverse("who"), {"worker": wren.key, "next": "/flats"})
    assert answer.url == "/flats"
    assert idle_tablet.get("/flats").context["worker"] == wren


def test_never_leads_to_another_site(idle_tablet):
    answer = idle_tablet.post(reverse("who"), {"worker": make_worker().key, "next": "//elsewhere.example/"})
    assert answer.url == "/"


def test_another_name_takes_over(tablet):
    wren = make_worker("Wren")
    tablet.post(reverse("who"), {"worker": wren.key})
    assert tablet.session[access.WORKER_IN_SESSION] == str(wren.key)


def test_who_left_the_farm_is_asked_about_again(tablet):
    Worker.objects.update(is_active=False)
    assert tablet.get("/").url.startswith(reverse("who"))


@pytest.mark.parametrize("worker", ["", "no-key", "00000000-0000-4000-8000-000000000000"])
def test_an_unknown_name_changes_nothing(idle_tablet, worker):
    answer = idle_tablet.post(reverse("who"), {"worker": worker})
    assert answer.status_code == 422
    assert access.WORKER_IN_SESSION not in idle_tablet.session


def test_an_empty_list_says_who_fills_it(idle_tablet):
    assert "A grower adds" in idle_tablet.get(reverse("who")).content.decode()


def test_a_login_of_ones_own_is_not_asked(crew):
    assert crew.get("/flats").status_code == 200
    assert "signed <strong>Bob</strong>" in crew.get(reverse("who")).content.decode()


def test_a_login_of_ones_own_cannot_sign_for_another(crew):
    crew.post(reverse("who"), {"worker": make_worker("Wren").key})
    assert str(crew.get("/").context["worker"]) == "Bob"
