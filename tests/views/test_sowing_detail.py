"""The page behind a sowing's label, and counting its stand there."""

from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from nursery.models import Sowing
from tests.factories import make_cultivar, make_flat, make_lot, make_run, make_sowing

HTMX = {"HTTP_HX_REQUEST": "true"}
ACCESS = [("grower", 302), ("crew", 403), ("tablet", 403), ("stranger", 302)]
DATA = {"stand_count": "180", "usable_count": "170", "stand_counted_on": "2026-02-20"}
READERS = [("grower", 200), ("crew", 200), ("tablet", 200), ("stranger", 302)]


def stand_address(sowing):
    return reverse("sowing-stand", args=[sowing.code])


@pytest.fixture
def sowing(db):
    return make_sowing(make_lot(make_cultivar("Amber"), supplier="Seedhouse"), seeds_count=200)


@pytest.mark.parametrize(
    ("who", "status"), [("grower", 200), ("crew", 200), ("tablet", 200), ("stranger", 302)]
)
def test_who_reads(request, sowing, who, status):
    assert request.getfixturevalue(who).get(f"/{sowing.code}").status_code == status


def test_says_what_was_sown_and_what_came_up(grower, sowing):
    Sowing.objects.update(stand_count=180, usable_count=150, stand_counted_on=date(2026, 2, 20))
    page = grower.get(f"/{sowing.code}").content.decode()
    assert "Amber" in page
    assert "Seedhouse" in page
    assert "180, 90 %" in page
    assert "150, 75 %" in page
    assert reverse("code-label", args=[sowing.code]) in page


def test_lists_the_flats_sown(grower, sowing):
    flat = make_flat(sowing=sowing)
    make_run(flat)
    other = make_flat()
    page = grower.get(f"/{sowing.code}").content.decode()
    assert f'href="/{flat.code}"' in page
    assert f'href="/{other.code}"' not in page


def test_flats_cost_no_further_queries(grower, sowing):
    def queries():
        with CaptureQueriesContext(connection) as captured:
            grower.get(f"/{sowing.code}")
        return len(captured)

    make_run(make_flat(sowing=sowing))
    few = queries()
    for _number in range(20):
        make_run(make_flat(sowing=sowing), places=range(1, 3))
    assert queries() == few


def test_offers_itself_to_the_flat_in_hand(grower, sowing):
    from nursery.models import Pairing, Run
    from tests.factories import GRAFTED_AT

    pairing = Pairing.objects.create(scion=sowing.lot.cultivar, rootstock=make_cultivar())
    run = make_run(pairing=pairing)
    assert "On the bench now" not in grower.get(f"/{sowing.code}").content.decode()
    Run.objects.filter(pk=run.pk).update(started_at=GRAFTED_AT, finished_at=None)
    assert "On the bench now" in grower.get(f"/{sowing.code}").content.decode()


@pytest.mark.parametrize(("who", "status"), ACCESS)
def test_only_a_grower_stores_the_stand(request, sowing, who, status):
    assert request.getfixturevalue(who).post(stand_address(sowing), DATA).status_code == status
    sowing.refresh_from_db()
    assert sowing.stand_count == (180 if who == "grower" else None)
    assert sowing.usable_count == (170 if who == "grower" else None)


def test_crew_sees_the_stand_but_no_form(crew, sowing):
    page = crew.get(f"/{sowing.code}").content.decode()
    assert stand_address(sowing) not in page
    assert "not counted yet" in page


def test_wrong_method(grower, sowing):
    assert grower.get(stand_address(sowing)).status_code == 405


@pytest.mark.parametrize(
    ("field", "wrong", "words"),
    [
        ("stand_count", "201", "More plants up than seeds sown"),
        ("usable_count", "181", "More usable plants than plants up"),
        ("stand_count", "many", "Stand (plants up): this is no whole number"),
        ("stand_counted_on", "2026-02-01", "counted before they were sown"),
    ],
)
def test_wrong_input_leaves_the_sowing_alone(grower, sowing, field, wrong, words):
    response = grower.post(stand_address(sowing), {**DATA, field: wrong})
    page = response.content.decode()
    assert response.status_code == 422
    assert words in page
    assert f'value="{wrong}"' in page
    sowing.refresh_from_db()
    assert sowing.stand_count is None


@pytest.mark.parametrize(("data", "status"), [(DATA, 200), ({**DATA, "stand_count": "201"}, 422)])
def test_htmx_gets_the_stand_alone(grower, sowing, data, status):
    response = grower.post(stand_address(sowing), data, **HTMX)
    assert response.status_code == status
    assert response.content.decode().strip().startswith('<section id="sowing-stand"')


def test_a_code_of_nothing_is_not_found(grower, sowing):
    code = sowing.code
    Sowing.objects.all().delete()
    assert grower.post(f"/{code}/stand", DATA).status_code == 404
