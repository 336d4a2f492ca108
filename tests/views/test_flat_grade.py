"""Grading the plants of a flat, and severing a tongue approach."""

from datetime import date, timedelta
from uuid import uuid4

import pytest
from django.utils import timezone

from nursery.actions.grading import Graded, left_by, record_grading
from nursery.actions.leaving import let_leave, let_leave_by_number
from nursery.actions.recount import differences
from nursery.actions.stamp import Stamp
from nursery.models import GradeCount, Grading, Severing, Voiding
from nursery.models.saleable import saleable_of
from tests.factories import make_flat, make_pairing, make_run, make_worker

pytestmark = pytest.mark.django_db
TODAY = date(2026, 3, 16)


@pytest.fixture
def run(farm):
    return make_run(make_flat(), places=range(1, 73))


@pytest.fixture
def tongue(farm):
    return make_run(make_flat(), method="tongue")


def grades(run):
    return sorted(GradeCount.objects.values_list("grade", "plants_count", "heads_per_plant", "is_even"))


def test_grades_are_stored_by_run(grower, run):
    said = {"first-0": 50, "second-0": 14, "cull-0": 8, "even-0": 20, "uneven-0": 2}
    answer = grower.post(f"/{run.flat.code}/grade", said)
    assert answer.status_code == 302
    # 20 even and 2 uneven are taken from the 50 first
    assert grades(run) == [
        ("cull", 8, 1, None), ("first", 2, 2, False), ("first", 20, 2, True), ("first", 28, 1, None),
        ("second", 14, 1, None),
    ]  # fmt: skip
    assert "<b>64</b> of 72 graded are saleable" in grower.get(f"/{run.flat.code}").content.decode()


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"first-0": 70, "cull-0": 3}, "Only 72 plants"),
        ({"first-0": 73}, "less than or equal to 72"),
        ({}, "at least 1"),
        ({"first-0": 5, "even-0": 6}, "More with two heads"),
        ({"first-0": 5, "day": "2026-01-01"}, "before the grafting"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_stored(grower, run, said, words):
    answer = grower.post(f"/{run.flat.code}/grade", said)
    assert answer.status_code == 422 and words in answer.content.decode()
    assert not Grading.objects.exists()


def test_a_grading_is_taken_back_once(grower, crew, run):
    record_grading(run.flat, counts=[Graded(run.pk, "first", 9)], stamp=Stamp.now())
    address = f"/{run.flat.code}/grade/{Grading.objects.get().uuid}/undo"
    assert grower.get(address).status_code == 405
    assert crew.post(address).status_code == 302
    assert "saleable" not in grower.get(f"/{run.flat.code}").content.decode()
    crew.post(address)
    assert Voiding.objects.count() == 1


def test_the_last_grading_of_all_that_live_stands(run):
    for plants in (60, 50):
        record_grading(run.flat, counts=[Graded(run.pk, "first", plants)], stamp=Stamp.now())
    assert saleable_of([run.pk]).saleable == 50


def test_what_left_is_graded_as_it_left(run):
    # 20 leave by number and 10 by cells: at most 20 and 10 can be graded; together they make the figure.
    record_grading(run.flat, counts=[Graded(run.pk, "first", 72)], stamp=Stamp.now())
    by_number = let_leave_by_number(run.flat, numbers={run.pk: 20}, reason="sold", stamp=Stamp.now())
    by_cells = let_leave(run.flat, places=range(1, 11), reason="sold", stamp=Stamp.now())
    for leaving, number in ((by_number, 20), (by_cells, 10)):
        with pytest.raises(Exception, match=f"Only {number} plants"):
            record_grading(
                run.flat, counts=[Graded(run.pk, "first", number + 1)], stamp=Stamp.now(), leaving=leaving
            )
        record_grading(
            run.flat, counts=[Graded(run.pk, "second", number)], stamp=Stamp.now(), leaving=leaving
        )
    assert (saleable_of([run.pk]).saleable, saleable_of([run.pk]).graded) == (30, 30)


@pytest.mark.parametrize("page", ["grade", "sever"])
@pytest.mark.parametrize(
    ("client_name", "status"),
    [("grower", 200), ("crew", 200), ("stranger", 302)],
    ids=["grower", "crew", "-"],
)
def test_who_may(page, client_name, status, run, bob, request):
    client = request.getfixturevalue(client_name)
    assert client.get(f"/{run.flat.code}/{page}").status_code == status


def test_severed_the_take_counts_from_there(crew, grower, tongue):
    day = timezone.localdate() - timedelta(days=3)
    assert "waits for its second cut" not in grower.get(f"/{tongue.flat.code}/sever").content.decode()
    assert crew.post(f"/{tongue.flat.code}/sever", {"severed_on": day.isoformat()}).status_code == 302
    assert Severing.objects.get().severed_on == day and list(differences()) == []
    assert "waits for its second cut" in grower.get(f"/{tongue.flat.code}/sever").content.decode()
    crew.post(f"/{tongue.flat.code}/sever/{Severing.objects.get().uuid}/undo")
    assert not Severing.objects.standing().exists()


@pytest.mark.parametrize("ago", [-1, 3000])
def test_a_second_cut_lies_between_the_grafting_and_today(grower, tongue, ago):
    day = timezone.localdate() - timedelta(days=ago)
    answer = grower.post(f"/{tongue.flat.code}/sever", {"severed_on": day.isoformat()})
    assert answer.status_code == 422 and not Severing.objects.exists()


def test_the_page_of_what_left_grades_those_alone(grower, run):
    leaving = let_leave_by_number(run.flat, numbers={run.pk: 20}, reason="sold", stamp=Stamp.now())
    address = f"/{run.flat.code}/leave/{leaving.uuid}/grade"
    assert "20 plants" in grower.get(address).content.decode()
    assert grower.post(address, {"first-0": 21}).status_code == 422
    assert grower.post(address, {"first-0": 15, "cull-0": 5}).status_code == 302
    assert Grading.objects.get().leaving == leaving and saleable_of([run.pk]).saleable == 15


def test_grades_are_told_run_by_run_to_a_grower_and_by_pairing_to_others(grower, crew, farm):
    flat, pairing = make_flat(), make_pairing()
    for name, places, first in (("Wren", range(1, 37), 30), ("Ash", range(37, 73), 20)):
        run = make_run(flat, places=places, pairing=pairing, worker=make_worker(name))
        counts = [Graded(run.pk, "first", first), Graded(run.pk, "cull", 36 - first)]
        record_grading(flat, counts=counts, stamp=Stamp.now())
    told = grower.get(f"/{flat.code}").content.decode()
    assert "30 of 36 saleable" in told and "20 of 36 saleable" in told
    told = crew.get(f"/{flat.code}").content.decode()
    assert "36 saleable" not in told and "<b>50</b> of 72 graded are saleable" in told


def test_a_plant_that_two_marks_say_left_left_once(run):
    """A device sends the leaving of a cell again in another mark of the same check."""
    leaving = let_leave(run.flat, places=[1, 2, 3], reason="sold", stamp=Stamp.now())
    mark = leaving.check_ref.marks.first()
    mark.pk, mark.uuid = None, uuid4()
    mark.save()
    assert left_by(leaving) == {run.pk: 3}


def test_what_left_is_graded_once_until_that_is_taken_back(grower, run):
    leaving = let_leave_by_number(run.flat, numbers={run.pk: 20}, reason="sold", stamp=Stamp.now())
    address = f"/{run.flat.code}/leave/{leaving.uuid}/grade"
    assert address in grower.get(f"/{run.flat.code}").content.decode()
    grower.post(address, {"first-0": 15})
    assert address not in grower.get(f"/{run.flat.code}").content.decode()
    answer = grower.post(address, {"first-0": 20})
    assert answer.status_code == 422 and "take that back first" in answer.content.decode()
    grower.post(f"/{run.flat.code}/grade/{Grading.objects.get().uuid}/undo")
    assert grower.post(address, {"first-0": 20}).status_code == 302
    assert saleable_of([run.pk]).saleable == 20
