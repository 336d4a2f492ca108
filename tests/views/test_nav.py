"""The top bar: on every page the place it belongs to is marked."""

import re

import pytest
from django.urls import reverse

from nursery.models import Session
from tests.factories import GRAFTED_AT, make_place, make_run, make_sowing


def current(client, address):
    bar = re.search(r'<nav class="bar-nav".*?</nav>', client.get(address).content.decode(), re.S)[0]
    return re.findall(r'aria-current="(\w+)">([^<]+)<', bar)


@pytest.mark.parametrize(
    ("name", "marked"),
    [
        ("bench", [("page", "Bench")]),
        ("flat-list", [("page", "Flats")]),
        ("label-queue", [("true", "Flats")]),
        ("takes-how", [("true", "Takes")]),
        ("account-list", [("true", "Records")]),
        ("home", []),
    ],
)
def test_marks_the_place_of_a_page(grower, name, marked):
    assert current(grower, reverse(name)) == marked


def test_a_flat_in_hand_belongs_to_the_bench_and_its_page_to_the_flats(grower):
    run = make_run(
        session=Session.objects.create(started_at=GRAFTED_AT), started_at=GRAFTED_AT, finished_at=None
    )
    assert current(grower, reverse("flat-bench", args=[run.flat.code])) == [("true", "Bench")]
    assert current(grower, reverse("flat-run", args=[run.flat.code, 1])) == [("true", "Bench")]
    assert current(grower, reverse("flat-check", args=[run.flat.code])) == [("true", "Flats")]
    assert current(grower, reverse("code", args=[run.flat.code])) == [("true", "Flats")]
    assert current(grower, reverse("code-label", args=[run.flat.code])) == [("true", "Flats")]


@pytest.mark.parametrize("make", [make_sowing, make_place])
def test_sowings_and_places_belong_to_the_records(grower, make):
    assert current(grower, reverse("code", args=[make().code])) == [("true", "Records")]
