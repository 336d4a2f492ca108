"""Plants of one flat leave: what the page takes in, says and gives back."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from nursery.models import Flat, Leaving, StageMove
from tests.factories import make_flat, make_pairing, make_run
from tests.views.checking import check_flat
from tests.views.plants import alive, days_ago, leave_by_number, leave_now, planted, words
from tests.views.test_drawing import tags

SOLD = {"how": "cells", "places": "A-E", "reason": "sold", "destination": "bed 4"}


@pytest.fixture
def flat(farm):
    return planted()


def test_sixty_leave_for_bed_4_and_twelve_live_here(crew, flat):
    answer = crew.post(f"/{flat.code}/leave", SOLD)
    leaving = Leaving.objects.get()
    assert answer.url == f"/{flat.code}?left={leaving.uuid}"
    assert (leaving.reason, leaving.destination, str(leaving.by_worker)) == ("sold", "bed 4", "Bob")
    said = words(crew.get(answer.url))
    assert "60 left for bed 4, sold. 12 live here. Grade them Send on the other 12 Undo" in said
    assert "Where the plants went 60 sold, bed 4" in said
    assert alive(flat) == 12


def test_all_that_live_leave_and_the_flat_is_done(crew, flat):
    check_flat(flat, {1: "dead"}, days_ago=1)
    answer = crew.post(f"/{flat.code}/leave", {**SOLD, "places": "", "whole": "on", "destination": ""})
    said = words(crew.get(answer.url))
    assert "71 left, sold. Nothing lives here any more: the flat is done." in said
    assert StageMove.objects.get().stage == "dispatched"


def test_the_living_can_be_tapped_and_nothing_else(crew, flat):
    check_flat(flat, {1: "dead", 2: "gone"}, days_ago=1)
    cells = tags(crew.get(f"/{flat.code}/leave").content.decode(), "cell")
    assert [cell["tag"] for cell in cells[:3]] == ["span", "span", "button"]
    assert {cell["aria-pressed"] for cell in cells[2:]} == {"false"}


def test_by_number_of_each_run(crew, flat):
    make_run(make_flat())  # another flat's
    answer = crew.post(f"/{flat.code}/leave", {**SOLD, "how": "number", "plants-0": "60"})
    said = words(crew.get(answer.url))
    assert "60 left by number: which cells is not known" in said
    assert "12 alive 0 dead 60 gone" in said
    assert (alive(flat), Leaving.objects.get().check_ref) == (12, None)


def test_runs_are_named_by_pairing_and_the_grafter_only_to_a_grower(crew, grower, flat):
    worker = flat.runs.get().worker
    for client, may in ((crew, False), (grower, True)):
        said = words(client.get(f"/{flat.code}/leave?by=number"))
        assert "Amber Lantern on Stonefoot" in said
        assert (f"Stonefoot, {worker}" in said) is may


def test_the_last_destinations_are_one_touch(crew, flat):
    leave_now(flat, [1], destination="bed 4")
    leave_now(flat, [2], destination="bed 4")
    html = crew.get(f"/{flat.code}/leave").content.decode()
    assert html.count("Sold, bed 4") == 1


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        ({"reason": ""}, "Choose why they leave."),
        ({"reason": "eaten"}, "Select a valid choice"),
        ({"places": ""}, "Tap the plants, or type their places."),
        ({"places": "A99"}, "This flat has no place A99."),
        ({"places": "B2-A1"}, "B2-A1 is no place"),
        ({"places": "A1"}, "No living plant stands in A1"),
        ({"how": "number"}, "Say how many plants, at least 1."),
        ({"how": "number", "plants-0": "72"}, "less than or equal to 71"),
        ({"day": "2999-01-01"}, "still to come"),
        ({"day": "2001-01-01"}, "before the grafting"),
    ],
)
def test_says_what_is_wrong_and_stores_nothing(crew, flat, sent, said):
    check_flat(flat, {1: "dead"}, days_ago=1)
    answer = crew.post(f"/{flat.code}/leave", {**SOLD, "places": "B", **sent})
    assert answer.status_code == 422
    assert said in words(answer)
    assert not Leaving.objects.exists()


def test_what_was_tapped_stays_tapped_when_it_is_refused(crew, flat):
    html = crew.post(f"/{flat.code}/leave", {**SOLD, "reason": ""}).content.decode()
    assert [cell["data-place"] for cell in tags(html, "cell") if cell["aria-pressed"] == "true"][-1] == "60"


def test_another_day_and_the_early_ones(crew, farm):
    flat = planted(days=8)
    assert "left out of the rate" not in words(crew.get(f"/{flat.code}/leave"))
    day = days_ago(3)
    crew.post(f"/{flat.code}/leave", {**SOLD, "day": day.isoformat()})
    leaving = Leaving.objects.get()
    assert (leaving.day, timezone.localdate(leaving.at)) == (day, day)
    assert "It is day 5" in words(crew.get(f"/{planted(days=5, pairing=make_pairing()).code}/leave"))


def test_grades_are_kept_with_what_leaves(crew, flat):
    crew.post(f"/{flat.code}/leave", {**SOLD, "first-0": "50", "second-0": "6", "cull-0": "4"})
    counts = Leaving.objects.get().gradings.get().counts.order_by("pk")
    assert list(counts.values_list("grade", "plants_count")) == [("first", 50), ("second", 6), ("cull", 4)]


def test_more_graded_than_leave_stores_nothing(crew, flat):
    answer = crew.post(f"/{flat.code}/leave", {**SOLD, "first-0": "61"})
    assert answer.status_code == 422
    assert "left, not 61" in words(answer)
    assert not Leaving.objects.exists()


def test_undo_brings_them_back_once(crew, flat):
    leaving = leave_now(flat, range(1, 61))
    address = f"/{flat.code}/leave/{leaving.uuid}/undo"
    assert "these plants stand in" in words(crew.post(address, follow=True))
    assert alive(flat) == 72
    assert "taken back already" in words(crew.post(address, follow=True))


def test_says_afterwards_which_cells_they_were(crew, flat):
    leaving = leave_by_number(flat, 12, destination="bed 4")
    address = f"/{flat.code}/leave/{leaving.uuid}/which"
    assert "Which 12 plants left" in words(crew.get(address))
    answer = crew.post(address, {"how": "cells", "places": "A1-A11"})
    assert answer.status_code == 422 and "11 are chosen" in words(answer)
    assert alive(flat) == 60
    answer = crew.post(address, {"how": "cells", "places": "A"})
    assert "12 left for bed 4, sold." in words(crew.get(answer.url))
    cells = tags(crew.get(f"/{flat.code}").content.decode(), "cell")
    assert [cell["data-state"] for cell in cells[:13]] == ["gone"] * 12 + ["unmarked"]


def test_a_flat_without_living_plants_says_so(crew, farm):
    assert "nothing to send off" in words(crew.get(f"/{make_flat().code}/leave"))


def test_crew_and_a_tablet_in_hand_may(crew, tablet, flat):
    for client, place in ((crew, "A1"), (tablet, "A2")):
        assert client.post(f"/{flat.code}/leave", {**SOLD, "places": place}).status_code == 302
    assert [str(leaving.by_worker) for leaving in Leaving.objects.order_by("pk")] == ["Bob", "Dora"]


def test_nobody_else_may(idle_tablet, stranger, flat):
    leaving = leave_now(flat, [1])
    for client in (idle_tablet, stranger):
        for address in ("leave", f"leave/{leaving.uuid}/undo", "discard", "discard/undo", "regraft"):
            assert client.post(f"/{flat.code}/{address}", SOLD).status_code == 302
    assert list(Leaving.objects.standing()) == [leaving]
    assert alive(flat) == 71


def test_only_what_there_is(crew, flat):
    other = planted(pairing=make_pairing())
    leaving = leave_now(other, [1])
    assert crew.post(f"/{flat.code}/leave/{leaving.uuid}/undo").status_code == 404
    assert crew.get(f"/{other.code}/leave/{leaving.uuid}/undo").status_code == 405
    assert crew.get("/F3K7QN0/leave").status_code == 404


def test_the_flat_page_asks_no_more_for_many_leavings(crew, flat):
    leave_now(flat, [1])
    counts = []
    for place in (2, 3):
        with CaptureQueriesContext(connection) as captured:
            crew.get(f"/{flat.code}")
        counts.append(len(captured))
        for n in range(10 * place, 10 * place + 5):
            leave_now(flat, [n], destination=f"bed {n}")
    assert counts[0] == counts[1]


def test_fields_changed_meanwhile_stay(flat):
    Flat.objects.filter(pk=flat.pk).update(note="mind the step")
    leave_now(flat, [1])
    flat.refresh_from_db()
    assert flat.note == "mind the step"
