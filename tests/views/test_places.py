"""What stands where since when: the map and the list."""

import re

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from nursery.actions.leaving import discard_flat
from nursery.actions.moves import move_place
from nursery.models import Flat, Place, Run, StageMove
from nursery.views.yard_map import yard_map
from tests.factories import GRAFTED_ON, make_flat, make_pairing, make_place, make_run
from tests.yard import grafted, make_yard, put, stamp

PLACES = "/places"


@pytest.fixture
def yard(farm):
    return make_yard()


def text_of(client, **query):
    answer = client.get(PLACES, query)
    assert answer.status_code == 200
    return answer.content.decode()


def boxes():
    return {box.place.name: box for box in yard_map(timezone.localdate()).lines}


def test_a_place_holds_what_stands_in_it_and_inside_it(crew, yard):
    put(grafted(3), yard["Trolley"])
    put(grafted(2), yard["Hall"])
    move_place(yard["Trolley"], into=yard["Chamber"], stamp=stamp(2))
    found = boxes()
    told = {name: (box.own, box.flats, box.room) for name, box in found.items()}
    assert told["Chamber"] == (0, 3, "37 of 40 free")
    assert told["Trolley"] == (3, 3, "17 of 20 free")
    assert told["Hall"] == (2, 5, "5 flats")
    assert told["Bay"] == (0, 0, "6 of 6 free")
    assert [box.place.name for box in found["Hall"].inner] == ["Bench", "Chamber"]
    assert list(found) == ["Hall", "Bench", "Chamber", "Trolley", "Bay", "Small trolley"]  # in walk order


def test_says_stage_age_and_since_when(crew, yard):
    put(grafted(2), yard["Chamber"], hours=5)
    make_run(later := make_flat(), places=[1], grafted_on=GRAFTED_ON.replace(day=4))
    make_run(later, places=[1], grafted_on=timezone.localdate(), is_regraft=True)  # keeps the clock
    put([later], yard["Chamber"], hours=60)
    box = boxes()["Chamber"]
    (group,) = box.groups
    assert (group.stage, group.number, box.since) == ("chamber", 3, stamp(5).at)
    ages = [(timezone.localdate() - GRAFTED_ON).days - less for less in (2, 0)]
    assert box.ages == "day {} to {}".format(*ages)
    assert "3 chamber" in text_of(crew)


def test_what_left_stands_nowhere(crew, yard):
    put([flat := grafted(1)[0]], yard["Bay"])
    discard_flat(flat, is_loss=False, stamp=stamp(2))
    assert boxes()["Bay"].flats == 0
    assert "Nowhere noted" not in text_of(crew)


def test_flats_without_a_place_are_a_box_of_their_own(crew, yard):
    grafted(2)
    make_flat()  # of which no move is written at all
    found = yard_map(timezone.localdate())
    assert found.nowhere_count == 3
    page = text_of(crew)
    assert "Nowhere noted" in page and 'href="/flats?place=none"' in page
    put(there := grafted(1), yard["Bay"])
    listed = crew.get("/flats", {"place": "none"}).content.decode()
    assert listed.count("<tr>") == 4
    assert there[0].code not in listed


def test_a_place_that_is_too_full_says_by_how_many(crew, yard):
    put(grafted(8), yard["Bay"])
    assert boxes()["Bay"].is_over
    page = text_of(crew)
    assert "data-over" in page and "2 too many" in page


def test_each_flat_is_a_square_with_the_sign_of_its_stage(crew, yard):
    put(grafted(4), yard["Bay"])
    picture = boxes()["Bay"].picture
    drawn = dict(re.findall(r'data-stage="(\w+)"[^>]* d="([^"]*)"', picture))
    # Each square begins at its corner twice (its edge, then its sign), free room once: 4 flats, 2 of 6 free.
    assert {stage: path.count("M") for stage, path in drawn.items()} == {"growing_on": 8, "free": 2}


def test_above_sixty_a_bar_says_how_full_it_is(crew, yard):
    Place.objects.filter(name="Bay").update(capacity_flats=200)
    put(grafted(50), yard["Bay"])
    picture = boxes()["Bay"].picture
    assert "<path" not in picture and 'width="25%"' in picture


def test_the_list_says_the_same(crew, yard):
    put(grafted(3), yard["Chamber"])
    page = text_of(crew, view="list")
    assert "<table" in page and "37 of 40 free" in page
    assert page.count("<tr>") == 7


def test_an_empty_book_says_what_to_do_first(grower, crew):
    assert "Enter where flats stand" in text_of(grower)
    assert "/records/places/new" in text_of(grower)
    assert ">New place</a>" not in text_of(crew)


def test_htmx_gets_the_yard_alone(crew, yard):
    answer = crew.get(PLACES, headers={"HX-Request": "true"})
    assert answer.content.decode().strip().startswith('<div id="places-yard"')


@pytest.mark.parametrize(
    ("who", "status"), [("grower", 200), ("crew", 200), ("tablet", 200), ("stranger", 302)]
)
def test_who_reads(request, yard, who, status):
    assert request.getfixturevalue(who).get(PLACES).status_code == status


def test_only_reads(crew):
    assert crew.post(PLACES).status_code == 405


def test_is_linked_from_flats_and_records(crew, yard):
    assert f'href="{reverse("places")}"' in crew.get("/flats").content.decode()
    assert f'href="{reverse("places")}"' in crew.get("/records").content.decode()


def queries(client, **query):
    with CaptureQueriesContext(connection) as captured:
        text_of(client, **query)
    return len(captured)


def test_as_many_queries_for_60_places_and_1000_flats_as_for_few(crew, yard):
    put(grafted(2), yard["Bay"])
    few = queries(crew), queries(crew, view="list")
    places = [make_place(f"Bay {n}", kind="bay", walk_order=n, stands_in=yard["Hall"]) for n in range(60)]
    like, pairing = make_flat(), make_pairing()
    codes = iter(range(10**6))
    flats = Flat.objects.bulk_create(
        Flat(
            code=f"F{next(codes):06}", tray_format=like.tray_format, layout=like.layout, created_at=stamp().at
        )
        for _ in range(1000)
    )
    Run.objects.bulk_create(
        Run(flat=flat, number=1, pairing=pairing, method="splice", grafted_on="2026-03-02") for flat in flats
    )
    StageMove.objects.bulk_create(
        StageMove(flat=flat, place=places[number % 60], stage="growing_on", **stamp().fields())
        for number, flat in enumerate(flats)
    )
    assert (queries(crew), queries(crew, view="list")) == few
