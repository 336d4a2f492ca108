"""What one check said, mark by mark."""

import csv
import io
import re
from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from nursery.actions.batch import Batch, ClosingIn, MarkIn, Sender
from nursery.actions.marks import receive_batch
from nursery.models import Closing, Device, Mark
from nursery.views.check_story import MARKS_HEADER
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


def head(client, check):
    html = client.get(f"/{check.flat.code}/check/{check.uuid}").content.decode()
    found = re.search(r"<strong>(Amended after it was closed: \d+ cells?)</strong>, ([^<]*?)\. <a", html)
    return found and found.groups()


def listed(client, flat):
    """Whether each check on the page of the flat says that it was amended, the newest first."""
    html = client.get(f"/{flat.code}").content.decode()
    return ["amended" in item for item in re.findall(rf'<li><a href="/{flat.code}/check/.*?</li>', html)]


def today():
    return f"{timezone.localtime():%-d %B}"


def test_a_plain_check_says_nothing_of_amending(crew, flat):
    check = check_flat(flat, {2: "dead", 3: "wilting"})
    later = check_flat(flat, {3: "firm"}, closes=False)
    assert head(crew, check) is head(crew, later) is None and listed(crew, flat) == [False, False]


def test_marks_after_the_closing_are_said_at_the_top_with_who_was_last(crew, flat, bob):
    check = check_flat(flat, {2: "dead"}, days_ago=1)
    add_mark(check, 3, "dead")
    add_mark(check, 4, "wilting", worker=bob.worker)
    add_mark(check, 4, "dead", worker=bob.worker)
    assert head(crew, check) == ("Amended after it was closed: 2 cells", f"last by Bob on {today()}")
    assert listed(crew, flat) == [True]


def test_a_correction_by_another_check_amends_the_one_it_corrects(crew, flat, bob):
    check = check_flat(flat, {2: "dead", 3: "dead"}, days_ago=2)
    marks = {mark.cell.place_no: mark.uuid for mark in Mark.objects.select_related("cell")}
    other = check_flat(flat, {}, closes=False)
    add_mark(other, 2, "firm", kind="correction", replaces=[marks[2]], account=bob, reason="a leaf hid it")
    add_mark(other, 3, "firm", replaces=[marks[3]])  # seen later, which amends nothing
    assert head(crew, check) == ("Amended after it was closed: 1 cell", f"last by bob on {today()}")
    assert listed(crew, flat) == [False, True]


def test_what_was_marked_after_a_reopening_amends_it_though_it_was_closed_again(crew, grower, flat):
    check = check_flat(flat, {2: "dead"})
    grower.post(f"/{flat.code}/check/{check.uuid}/reopen")
    late = add_mark(check, 5, "dead")
    now = timezone.now()
    known = tuple(str(uuid) for uuid in Mark.objects.values_list("uuid", flat=True))
    again = ClosingIn(uuid4(), check.uuid, now, known=known)
    receive_batch(Batch(sent_at=now, closings=[again]), Sender(None, None, now))
    assert str(late) in known and head(crew, check)[0] == "Amended after it was closed: 1 cell"


def test_two_closings_without_a_reopening_know_together(crew, flat):
    check = check_flat(flat, {2: "dead"})
    now, mark = timezone.now(), uuid4()
    other = Batch(
        sent_at=now,
        marks=[MarkIn(mark, check.uuid, 3, 1, "dead", now)],
        closings=[ClosingIn(uuid4(), check.uuid, now, known=(str(mark),))],
    )
    receive_batch(other, Sender(None, None, now))
    assert Closing.objects.count() == 2 and head(crew, check) is None


def test_a_closing_that_told_nothing_knew_what_had_come_in(crew, flat):
    check = check_flat(flat, {2: "dead"})
    Closing.objects.update(tells_known=False, known_marks=[])
    assert head(crew, check) is None
    add_mark(check, 3, "dead")
    assert head(crew, check)[0] == "Amended after it was closed: 1 cell"


@pytest.fixture
def bay_tablet(farm):
    at = timezone.now()
    return Device.objects.create(name="Bay tablet", first_seen_at=at, last_seen_at=at)


@pytest.mark.parametrize(
    ("skew", "says"),
    [
        (timedelta(seconds=40), "Bay tablet"),
        (timedelta(hours=2, minutes=5), "Bay tablet, its clock was 2 h 5 min behind"),
        (-timedelta(days=3, hours=1, minutes=9), "Bay tablet, its clock was 3 days 1 h ahead"),
        (timedelta(minutes=-7), "Bay tablet, its clock was 7 min ahead"),
    ],
)
def test_each_mark_says_on_which_tablet_and_how_wrong_its_clock_was(crew, flat, bay_tablet, skew, says):
    check = check_flat(flat, {2: "dead"})
    mark = Mark.objects.get()
    Mark.objects.update(device=bay_tablet, raw_at=mark.at - skew)
    assert rows(crew, check)[0].endswith(f"{timezone.localtime(mark.at):%H:%M} {says}")


def told(client, check, kind="csv"):
    answer = client.get(f"/{check.flat.code}/check/{check.uuid}?format={kind}")
    assert answer.status_code == 200
    return list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))


def test_the_marks_are_a_file_with_all_that_is_known_of_them(crew, flat, bob, bay_tablet):
    check = check_flat(flat, {14: "dead"}, account=bob, worker=bob.worker, cause="rot", closes=False)
    first = Mark.objects.get()
    Mark.objects.update(device=bay_tablet, raw_at=first.at - timedelta(hours=2), is_clock_odd=True)
    again = add_mark(check, 14, "firm", kind="correction", replaces=[first.uuid], reason="=a leaf hid it")
    one, two = told(crew, check)
    assert list(one) == MARKS_HEADER

    def clock(at):
        return timezone.localtime(at).isoformat(sep=" ", timespec="seconds")

    assert one == {
        "mark": str(first.uuid), "cell": "B2", "graft": "1", "state": "dead", "kind": "seen", "cause": "Rot",
        "reason": "", "who": "Bob", "login": "bob", "device": "Bay tablet", "at": clock(first.at),
        "at_by_its_clock": clock(first.at - timedelta(hours=2)), "received_at": clock(first.received_at),
        "clock_odd": "1", "replaced_by": str(again),
        "amended": "corrected later, its device's clock was wrong",
    }  # fmt: skip
    assert (two["kind"], two["reason"], two["device"]) == ("corrected", "'=a leaf hid it", "")
    page = crew.get(f"/{flat.code}/check/{check.uuid}").content.decode()
    assert "?format=csv" in page and "?format=xlsx" in page


def test_no_other_file_and_nobody_without_a_login(crew, stranger, flat):
    check = check_flat(flat, {2: "dead"})
    address = f"/{flat.code}/check/{check.uuid}?format="
    assert crew.get(f"{address}pdf").status_code == 404
    assert crew.get(f"{address}xlsx").headers["Content-Disposition"].endswith('.xlsx"')
    assert stranger.get(f"{address}csv").url.startswith("/login")


def test_a_mark_of_another_cell_replaces_nothing(crew, flat):
    check = check_flat(flat, {2: "dead", 3: "dead"}, closes=False)
    marks = {mark.cell.place_no: mark.uuid for mark in Mark.objects.select_related("cell")}
    add_mark(check, 3, "firm", kind="correction", replaces=[marks[2], marks[3]])
    assert [row["amended"] for row in told(crew, check) if row["state"] == "dead"] == ["", "corrected later"]
