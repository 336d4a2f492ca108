"""What one check said, mark by mark."""

import re
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from nursery.actions.batch import Batch, MarkIn, Sender
from nursery.actions.marks import receive_batch
from nursery.models import Mark
from tests.factories import make_flat, make_run
from tests.views.checking import add_mark, check_flat


@pytest.fixture
def flat(db):
    flat = make_flat()
    make_run(flat)
    return flat


def rows(client, check):
    answer = client.get(f"/{check.flat.code}/check/{check.uuid}")
    assert answer.status_code == 200
    body = answer.content.decode()
    found = re.findall(r"<tr>(.*?)</tr>", body[body.index("<main") :], re.DOTALL)
    return [" ".join(re.sub(r"<[^>]+>", " ", row).split()) for row in found[1:]]


def test_each_mark_is_told_with_who_and_when(crew, flat, bob):
    check = check_flat(flat, {2: "dead"}, account=bob, worker=bob.worker, cause="rot")
    (row,) = rows(crew, check)
    assert row.startswith("A2 dead Rot Bob ")


def test_a_cause_for_the_whole_check_stands_on_its_dead(crew, flat):
    check = check_flat(flat, {2: "dead", 3: "firm"})
    type(check).objects.update(cause="heat")
    assert ["Heat" in row for row in rows(crew, check)] == [True, False]


def test_marks_that_did_not_stay_are_flagged(crew, flat):
    check = check_flat(flat, {2: "dead", 3: "dead", 4: "dead"}, closes=False)
    marks = {mark.cell.place_no: mark.uuid for mark in Mark.objects.select_related("cell")}
    add_mark(check, 2, "unmarked", kind="undo", replaces=[marks[2]])
    add_mark(check, 3, "wilting", replaces=[marks[3]])
    told = rows(crew, check)
    assert [row.rsplit(" ", 2)[1:] for row in told if row.startswith("A2 dead")] == [["taken", "back"]]
    assert next(row for row in told if row.startswith("A3 dead")).endswith("changed")
    plain = next(row for row in told if row.startswith("A4 dead"))
    assert not plain.endswith(("changed", "back"))


def test_a_correction_by_a_later_check_is_flagged_with_its_reason(crew, flat):
    first = check_flat(flat, {2: "dead"}, days_ago=2)
    second = check_flat(flat, {}, closes=False)
    wrong = Mark.objects.get().uuid
    add_mark(second, 2, "firm", kind="correction", replaces=[wrong], reason="a leaf hid it")
    assert rows(crew, first)[0].endswith("corrected later")
    assert "“a leaf hid it”" in rows(crew, second)[0]


def test_a_mark_that_came_in_after_the_closing_is_flagged(crew, flat):
    check = check_flat(flat, {2: "dead"})
    now = timezone.now()
    late = MarkIn(uuid4(), check.uuid, 3, 1, "dead", now)
    receive_batch(Batch(sent_at=now, marks=[late]), Sender(None, None, now))
    told = rows(crew, check)
    assert [row.endswith("came in after the closing") for row in told] == [False, True]


def test_a_check_without_marks_says_that_all_was_as_before(crew, flat):
    check = check_flat(flat, {})
    html = crew.get(f"/{flat.code}/check/{check.uuid}").content.decode()
    assert "No cell was marked" in html


def test_a_check_of_another_flat_is_not_found(crew, flat):
    check = check_flat(flat, {})
    assert crew.get(f"/{make_flat().code}/check/{check.uuid}").status_code == 404
    assert crew.get(f"/{flat.code}/check/{uuid4()}").status_code == 404


def test_as_many_queries_for_one_mark_as_for_seventy(crew, flat):
    few = check_flat(flat, {2: "dead"}, days_ago=1)
    other = make_flat()
    make_run(other)
    many = check_flat(other, dict.fromkeys(range(1, 71), "dead"))
    assert few.flat.code != many.flat.code  # the flats are loaded before anything is counted
    counts = []
    for check in (few, many):
        with CaptureQueriesContext(connection) as captured:
            rows(crew, check)
        counts.append(len(captured))
    assert counts[0] == counts[1] <= 12
