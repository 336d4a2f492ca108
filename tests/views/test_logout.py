from django.urls import reverse


def test_ends_the_login(crew):
    answer = crew.post(reverse("logout"))
    assert answer.url == reverse("login")
    assert crew.get("/").status_code == 302


def test_a_link_does_not_log_out(crew):
    assert crew.get(reverse("logout")).status_code == 405
    assert crew.get("/").status_code == 200


def test_a_shared_tablet_may_log_out_before_it_says_who(idle_tablet):
    assert idle_tablet.post(reverse("logout")).url == reverse("login")
