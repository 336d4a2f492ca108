"""The sheet of a flat: all that a browser needs to check it by itself, and a tag that tells of a change."""

import json
from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from nursery import access
from nursery.actions.batch import Batch, CheckIn, ClosingIn, NumbersIn, Sender
from nursery.actions.marks import receive_batch
from nursery.models import Cell, Check, Closing, Flat, Mark, StageMove
from nursery.views.sheet_of_flat import heads_of, sheet_of, sheets_from
from tests.factories import make_flat, make_place, make_run, make_worker
from tests.views.checking import add_mark, check_flat

MOST_BYTES = 22_000
pytestmark = pytest.mark.django_db


@pytest.fixture
def flat(farm):
    flat = make_flat()
    make_run(flat, grafted_on=timezone.localdate() - timedelta(days=7))
    return flat


def sheet(flat, user, goes_on=""):
    flat = access.flat_for_work(user, flat.code)
    return sheet_of(flat, today=timezone.localdate(), user=user, goes_on=str(goes_on))


def reopen(check):
    now = timezone.now()
    names = tuple(str(closing.uuid) for closing in check.closings.all())
    closing = ClosingIn(uuid4(), check.uuid, now, kind="reopen", replaces=names)
    receive_batch(Batch(sent_at=now, closings=[closing]), Sender(None, None, now))


def marks(told):
    """Return the marks of a sheet with what was left out put back."""
    usual = ["seen", "", []]
    return [mark + usual[len(mark) - 4 :] for mark in told["marks"]]


def test_says_what_flat_it_is(flat, bob):
    place = make_place("Bay 2")
    now = timezone.now()
    StageMove.objects.create(flat=flat, stage="growing_on", place=place, at=now, raw_at=now, received_at=now)
    told = sheet(flat, bob)
    assert (told["code"], told["url"], told["place"]) == (flat.code, f"/{flat.code}", "Bay 2")
    assert (told["rows"], told["columns"]) == (6, 12)
    assert told["spoken"] == f"{flat.code[:3]}-{flat.code[3:]}"
    assert told["what"] == str(flat.runs.get().pairing) and "day 7" in told["when"]


def test_the_map_has_a_letter_for_each_place(bob, farm):
    flat = make_flat(2, 4)
    make_run(flat, places=range(1, 7))
    check_flat(flat, {1: "dead", 2: "wilting", 3: "firm", 4: "gone"})
    assert sheet(flat, bob)["map"] == "dwfgaa--"


def test_a_place_that_the_layout_leaves_out_is_not_used(bob, farm):
    flat = make_flat(2, 4)
    flat.layout.pattern = "other_row"
    flat.layout.save(update_fields=["pattern"])
    make_run(flat, places=[1, 2])
    assert sheet(flat, bob)["map"] == "aa--...."


def test_a_second_graft_in_a_place_is_named(flat, bob):
    make_run(flat, places=[17], is_regraft=True)
    told = sheet(flat, bob)
    assert told["grafts"] == {"17": 2}
    assert told["runs"][15:18] == "121"


def test_the_runs_are_told_only_where_there_are_several(flat, bob, farm):
    assert "runs" not in sheet(flat, bob)
    shared = make_flat(2, 3)
    make_run(shared, places=[1, 2])
    make_run(shared, places=[4])
    assert sheet(shared, bob)["runs"] == "11.2.."


def test_plants_of_another_flat_are_numbered_after_the_own_runs(bob, farm):
    flat = make_flat(1, 3)
    make_run(flat, places=[1])
    elsewhere = make_run(make_flat(1, 3), places=[1, 2])
    Cell.objects.filter(flat=elsewhere.flat, place_no=2).update(flat=flat)
    assert sheet(flat, bob)["runs"] == "12."


def test_open_marks_are_told_with_their_check_and_usual_values_left_out(flat, bob):
    check = check_flat(flat, {2: "dead"}, days_ago=3, cause="dried")
    (told,) = [sheet(flat, bob)]
    assert told["marks"] == [["2", str(Mark.objects.get().uuid), 0, "dead", "seen", "dried"]]
    (check_told,) = told["checks"]
    assert (check_told["uuid"], check_told["day"]) == (str(check.uuid), check.day.isoformat())
    assert check_told["since"].startswith(str(check.day.day)) and not check_told["is_open"]
    plain = check_flat(flat, {3: "wilting"})
    assert [mark for mark in sheet(flat, bob)["marks"] if mark[0] == "3"] == [
        ["3", str(plain.marks.get().uuid), 1, "wilting"]
    ]


def test_a_mark_that_was_replaced_is_left_out_once_its_check_is_closed(flat, bob):
    first = check_flat(flat, {2: "wilting"}, days_ago=3)
    old = first.marks.get().uuid
    today = check_flat(flat, {}, closes=False)
    new = add_mark(today, 2, "dead", replaces=[old])
    told = sheet(flat, bob)
    assert told["opened"] == [str(today.uuid)]
    assert [(mark[1], mark[6]) for mark in marks(told)] == [(str(old), []), (str(new), [str(old)])]
    now = timezone.now()
    receive_batch(
        Batch(sent_at=now, closings=[ClosingIn(uuid4(), today.uuid, now, known=())]), Sender(bob, None, now)
    )
    told = sheet(flat, bob)
    assert told["opened"] == []
    assert [mark[1] for mark in told["marks"]] == [str(new)]


def test_an_open_check_says_who_began_it_when_and_what_it_was_closed_with(flat, bob):
    check = check_flat(flat, {}, account=bob, worker=bob.worker, seen=[1, 2, 3])
    reopen(check)
    (told,) = sheet(flat, bob)["checks"]
    assert (told["who"], told["since"], told["is_open"]) == ("Bob", "today", True)
    assert told["at"] == timezone.localtime(check.opened_at).strftime("%H:%M")
    assert told["opened_at"] == check.raw_opened_at.isoformat(timespec="milliseconds")
    assert told["part"] == [1, 2, 3]


def test_a_check_of_yesterday_is_gone_on_with_only_where_it_is_named(flat, bob):
    check = check_flat(flat, {9: "dead"}, days_ago=1, closes=False)
    assert sheet(flat, bob)["opened"] == []
    assert sheet(flat, bob, goes_on=check.uuid)["opened"] == [str(check.uuid)]
    assert sheet(flat, bob, goes_on="nothing")["opened"] == []
    closed = check_flat(flat, {10: "dead"}, days_ago=1)
    assert sheet(flat, bob, goes_on=closed.uuid)["opened"] == []
    elsewhere = check_flat(make_run().flat, {1: "dead"}, closes=False)
    assert sheet(flat, bob, goes_on=elsewhere.uuid)["opened"] == []


def closings(flat, user, **given):
    return sheet(flat, user, **given)["closings"]


def test_a_closing_of_today_that_says_what_it_knew_is_told(flat, bob):
    whole, part = check_flat(flat, {}), check_flat(flat, {}, seen=[5, 6])
    assert closings(flat, bob) == [
        {"uuid": str(whole.closings.get().uuid), "places": None},
        {"uuid": str(part.closings.get().uuid), "places": [5, 6]},
    ]


def test_other_closings_are_not_told(flat, bob):
    check_flat(flat, {}, days_ago=1)
    silent = check_flat(flat, {})
    silent.closings.update(tells_known=False)
    reopen(check_flat(flat, {}))
    Check.objects.filter(pk=check_flat(flat, {}).pk).update(is_void=True)
    now = timezone.now()
    numbers = uuid4()
    receive_batch(
        Batch(
            sent_at=now,
            checks=[CheckIn(numbers, flat.code, now, kind="numbers")],
            numbers=[NumbersIn(numbers, 1, 3)],
            closings=[ClosingIn(uuid4(), numbers, now, known=())],
        ),
        Sender(bob, None, now),
    )
    assert closings(flat, bob) == []


def test_where_an_old_check_goes_on_the_closings_since_its_day_are_told(flat, bob):
    old = check_flat(flat, {}, days_ago=3, closes=False)
    later = check_flat(flat, {}, days_ago=2)
    check_flat(flat, {}, days_ago=5)
    (told,) = closings(flat, bob, goes_on=old.uuid)
    assert told["uuid"] == str(later.closings.get().uuid)


def test_cells_of_which_people_disagree_are_named(flat, bob):
    check = check_flat(flat, {5: "dead"}, closes=False)
    add_mark(check, 5, "wilting")
    told = sheet(flat, bob)
    assert told["disputed"] == ["5"]
    assert told["map"][4] == "d" and len(told["marks"]) == 2


def test_a_cell_seen_alive_by_who_had_not_heard_that_it_is_dead_is_disputed(flat, bob):
    seen_alive = check_flat(flat, {})
    dead = check_flat(flat, {5: "dead"}, closes=False)
    told = sheet(flat, bob)
    assert told["disputed"] == ["5"] and told["map"][4] == "d"
    closing = str(seen_alive.closings.get().uuid)
    add_mark(dead, 5, "dead", replaces=[dead.marks.get().uuid, closing])
    assert sheet(flat, bob)["disputed"] == []


def test_says_what_was_seen_today_and_whether_numbers_may_be_told(flat, bob):
    assert (sheet(flat, bob)["seen_today"], sheet(flat, bob)["may_count"]) == ([], True)
    check_flat(flat, {9: "dead"}, seen=[1, 2])
    told = sheet(flat, bob)
    assert (told["seen_today"], told["may_count"]) == ([1, 2, 9], False)
    assert told["hints"] == ["3 of 72 were seen today. Closing now completes the day."]


def test_a_flat_without_grafts_has_no_cells(bob, farm):
    told = sheet(make_flat(2, 3), bob)
    assert (told["map"], told["marks"], told["what"]) == ("------", [], "")


def test_a_pooled_flat_says_so(bob, farm):
    assert sheet(make_flat(2, 3, is_pooled=True), bob)["is_pooled"] is True
    assert "is_pooled" not in sheet(make_flat(2, 3), bob)


@pytest.mark.parametrize("stage", ["discarded", "dispatched"])
def test_a_flat_that_left_says_that_marks_are_taken_in_all_the_same(flat, bob, stage):
    now = timezone.now()
    StageMove.objects.create(flat=flat, stage=stage, at=now, raw_at=now, received_at=now)
    (hint,) = sheet(flat, bob)["hints"]
    assert stage[:7] in hint.lower() and "all the same" in hint


def size(told):
    return len(json.dumps(told, separators=(",", ":")).encode())


def test_a_sheet_of_288_cells_with_288_marks_stays_small(bob, farm):
    flat = make_flat(12, 24)
    make_run(flat, places=range(1, 145))
    make_run(flat, places=range(145, 289))
    check_flat(flat, dict.fromkeys(range(1, 145), "wilting"), days_ago=3)
    check_flat(flat, dict.fromkeys(range(145, 289), "dead"), closes=False)
    told = sheet(flat, bob)
    assert len(told["marks"]) == 288
    assert size(told) <= MOST_BYTES


def queries(flats, user):
    found = access.flats_found_for_work(user, [flat.code for flat in flats])
    with CaptureQueriesContext(connection) as captured:
        sheets = sheets_from(heads_of(list(found.values()), today=timezone.localdate()))
    assert [told["code"] for told in sheets] == [flat.code for flat in flats]
    return len(captured)


def tell_a_story(flat, places):
    for days_ago in (3, 2, 0):
        dead = dict.fromkeys(range(1 + days_ago, places, 7), "dead")
        check_flat(flat, dead, days_ago=days_ago, worker=make_worker())
    check_flat(flat, {places: "wilting"}, closes=False)
    return flat


def test_as_many_queries_for_many_flats_and_marks_as_for_one(bob, farm):
    one = tell_a_story(make_run(make_flat(2, 6), places=range(1, 13)).flat, 12)
    runs = [make_run(make_flat(12, 24), places=range(1, 289)) for _ in range(4)]
    many = [tell_a_story(run.flat, 288) for run in runs]
    assert queries([one, *many], bob) == queries([one], bob) <= 15


def test_a_mark_that_comes_while_the_sheet_is_written_is_not_passed_over(flat, bob):
    """The tag is of before: the next question is answered anew, with what came in between."""
    (head,) = heads_of([access.flat_for_work(bob, flat.code)], today=timezone.localdate())
    check_flat(flat, {5: "dead"}, closes=False)
    (told,) = sheets_from([head])
    assert told["tag"] != sheet(flat, bob)["tag"]
    assert [mark[0] for mark in sheet(flat, bob)["marks"]] == ["5"]


def change_mark(flat):
    add_mark(flat.checks.get(), 3, "dead")


def change_closing(flat):
    check = flat.checks.get()
    now = timezone.now()
    receive_batch(Batch(sent_at=now, closings=[ClosingIn(uuid4(), check.uuid, now)]), Sender(None, None, now))


def change_place(flat):
    now = timezone.now()
    move = {"at": now, "raw_at": now, "received_at": now}
    StageMove.objects.create(flat=flat, stage="chamber", place=make_place(), **move)


def change_place_name(flat):
    place = flat.moves.get().place
    place.name = "Renamed"
    place.save()


def change_worker(flat):
    worker = flat.checks.get().by_worker
    worker.name = "Somebody else"
    worker.save()


def change_pairing(flat):
    cultivar = flat.runs.get().pairing.scion
    cultivar.name = "Renamed"
    cultivar.save()


CHANGES = {
    "mark": change_mark,
    "closing": change_closing,
    "check": lambda flat: check_flat(flat, {}, closes=False),
    "voided": lambda flat: flat.checks.update(is_void=True),
    "regraft": lambda flat: make_run(flat, places=[17], is_regraft=True),
    "cells": lambda flat: flat.cells.filter(place_no=3).update(is_present=False),
    "place": change_place,
    "place name": change_place_name,
    "worker": change_worker,
    "pairing": change_pairing,
    "pooled": lambda flat: Flat.objects.filter(pk=flat.pk).update(is_pooled=True),
    "telling": lambda flat: Closing.objects.create(
        check_ref=flat.checks.get(), kind="close", tells_known=True, at=timezone.now(), raw_at=timezone.now(),
        received_at=timezone.now(),
    ),
}  # fmt: skip


@pytest.mark.parametrize("change", CHANGES)
def test_the_tag_changes_with_what_the_sheet_says_and_not_without(flat, bob, change):
    check_flat(flat, {2: "wilting"}, worker=make_worker(), closes=False)
    change_place(flat)
    before = sheet(flat, bob)
    assert sheet(flat, bob) == before
    CHANGES[change](flat)
    after = sheet(flat, bob)
    assert {**after, "tag": ""} != {**before, "tag": ""}
    assert after["tag"] != before["tag"]


def test_the_tag_changes_with_the_day(flat, bob):
    make_run(flat, places=[])  # grafted on two days: nothing is said of how many days ago
    found = access.flat_for_work(bob, flat.code)
    today = timezone.localdate()
    tags = {sheet_of(found, today=day, user=bob)["tag"] for day in (today, today, today + timedelta(days=1))}
    assert len(tags) == 2
