"""``manage.py import_marks``: a tablet's file of waiting marks, the last resort when it cannot send."""

import json
from datetime import UTC, datetime, timedelta
from uuid import uuid4

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone

from nursery.actions import marks_file
from nursery.models import Account, Check, Closing, DayCount, Device, Mark, NumberCount
from tests.factories import make_flat, make_run, make_worker
from tests.views.checking import check_flat

pytestmark = pytest.mark.django_db
AT = datetime(2026, 3, 16, 10, 0, tzinfo=UTC)


@pytest.fixture
def flat(farm):
    flat = make_flat()
    make_run(flat)
    return flat


def iso(at):
    return at.isoformat(timespec="milliseconds")


def check_part(flat, at=AT, **fields):
    return {
        "noun": "checks",
        "part": {"uuid": str(uuid4()), "flat": flat.code, "opened_at": iso(at), **fields},
    }


def mark_part(check, cell, at=AT, **fields):
    part = {
        "uuid": str(uuid4()),
        "check": check["part"]["uuid"],
        "cell": str(cell),
        "state": "dead",
        "at": iso(at),
    }
    return {"noun": "marks", "part": part | fields}


def closing_part(check, at=AT, **fields):
    part = {"uuid": str(uuid4()), "check": check["part"]["uuid"], "at": iso(at), "known": []}
    return {"noun": "closings", "part": part | fields}


def story(flat, cells=(17,), at=AT):
    """Return a check in which ``cells`` were marked dead, in the order a tablet makes it."""
    check = check_part(flat, at)
    return [check, *(mark_part(check, cell, at) for cell in cells), closing_part(check, at)]


def content(parts, **fields):
    data = {
        "takebook": "waiting marks",
        "v": 1,
        "device": str(uuid4()),
        "exported_at": iso(AT),
        "skew_ms": 0,
        "account": "bob",
        "parts": parts,
    }
    return json.dumps(data | fields)


@pytest.fixture
def run(tmp_path, capsys):
    def run(text, *options):
        file = tmp_path / "waiting.json"
        file.write_bytes(text if isinstance(text, bytes) else text.encode())
        call_command("import_marks", file, *options)
        return capsys.readouterr().out.strip()

    return run


def test_takes_in_what_a_tablet_wrote(run, flat, bob):
    assert run(content(story(flat, [3, 17]))) == "4 parts taken in, 0 known already, 0 refused."
    assert {mark.cell.place_no for mark in Mark.objects.select_related("cell")} == {3, 17}
    assert {mark.sent_by for mark in Mark.objects.all()} == {bob}
    count = DayCount.objects.get()
    assert (count.dead, count.is_closed) == (2, True)


def test_the_same_file_twice_changes_nothing(run, flat, bob):
    text = content(story(flat))
    run(text)
    before = [
        list(model.objects.order_by("pk").values()) for model in (Check, Mark, Closing, DayCount, Device)
    ]
    assert run(text) == "0 parts taken in, 3 known already, 0 refused."
    after = [
        list(model.objects.order_by("pk").values()) for model in (Check, Mark, Closing, DayCount, Device)
    ]
    assert after == before


def test_what_was_sent_by_the_tablet_before_is_known(run, flat, bob):
    parts = story(flat, [3, 17])
    run(content(parts[:2]))
    assert run(content(parts)) == "2 parts taken in, 2 known already, 0 refused."


def test_any_length_goes_in_some_parts_at_a_time(run, flat, bob, monkeypatch):
    sizes = []
    receive = marks_file.receive_batch

    def counted(batch, sender):
        sizes.append(sum(map(len, (batch.checks, batch.marks, batch.closings, batch.numbers))))
        return receive(batch, sender)

    monkeypatch.setattr(marks_file, "receive_batch", counted)
    check = check_part(flat)
    marks = [mark_part(check, 1 + number % 72) for number in range(1050)]
    assert run(content([check, *marks])).startswith("1051 parts taken in")
    assert sizes == [500, 500, 51]
    assert Mark.objects.count() == 1050


def test_each_part_finds_its_check_wherever_in_the_file_it_stands(run, flat, bob, monkeypatch):
    monkeypatch.setattr(marks_file, "AT_ONCE", 2)
    assert run(content(story(flat, [3, 17, 20])[::-1])).startswith("5 parts taken in")
    assert DayCount.objects.get().dead == 3


def test_times_are_corrected_by_the_tablets_error_not_by_when_the_file_came(run, flat, bob):
    behind = timedelta(hours=26)
    run(content(story(flat), skew_ms=behind / timedelta(milliseconds=1)))
    mark = Mark.objects.get()
    assert (mark.raw_at, mark.at) == (AT, AT + behind)
    assert Check.objects.get().day == (AT + behind).date()
    assert timezone.now() - mark.received_at < timedelta(minutes=1)


def test_without_a_known_error_the_tablets_clock_is_believed(run, flat, bob):
    run(content(story(flat), skew_ms=None))
    assert Mark.objects.get().at == AT


def test_a_clock_that_must_be_fast_is_put_back_at_least_that_far(run, flat, bob):
    """A file that was written tomorrow comes from a clock that is a day fast, whatever else it is."""
    fast = timezone.now() + timedelta(days=1)
    run(content(story(flat, at=fast - timedelta(hours=1)), skew_ms=None, exported_at=iso(fast)))
    mark = Mark.objects.get()
    assert abs(mark.at - (timezone.now() - timedelta(hours=1))) < timedelta(minutes=1)
    assert not mark.is_clock_odd


def test_a_file_is_no_sign_of_life_from_its_tablet(run, flat, bob):
    seen = datetime(2026, 3, 1, tzinfo=UTC)
    device = Device.objects.create(first_seen_at=seen, last_seen_at=seen, skew_ms=77)
    run(content(story(flat), device=str(device.uuid), skew_ms=90_000))
    device.refresh_from_db()
    assert (device.last_seen_at, device.skew_ms) == (seen, 77)
    assert Mark.objects.get().device == device


def test_marks_are_signed_as_they_were_tapped(run, flat, bob, charlie):
    dora, check = make_worker("Dora"), check_part(flat)
    run(content([check, mark_part(check, 3), mark_part(check, 4, worker=str(dora.key))]))
    assert [mark.by_worker for mark in Mark.objects.order_by("cell__place_no")] == [bob.worker, dora]
    run(content(story(make_run().flat, [5]), account="charlie"))
    mark = Mark.objects.latest("pk")
    assert (mark.sent_by, mark.by_worker) == (charlie, None)


def test_a_login_that_is_not_in_the_book_signs_nothing(run, flat):
    assert not Account.objects.exists()
    run(content(story(flat), account="nobody"))
    assert Mark.objects.get().sent_by is None


def test_numbers_come_too(run, flat, bob):
    check = check_part(flat, kind="numbers")
    numbers = {"noun": "numbers", "part": {"check": check["part"]["uuid"], "run": 1, "dead": 5}}
    assert run(content([check, numbers, closing_part(check)])).startswith("3 parts taken in")
    assert NumberCount.objects.get().dead_count == 5


def fails(run, text, *options):
    with pytest.raises(CommandError) as caught:
        run(text, *options)
    return str(caught.value)


def test_what_is_refused_is_named_with_the_reason_and_the_rest_counts(run, flat, bob, capsys):
    parts = story(flat, [3, 400])
    parts.insert(1, mark_part(parts[0], "A1"))
    assert fails(run, content(parts)) == "2 refused; the rest counts."
    said = capsys.readouterr()
    assert said.out.strip() == "3 parts taken in, 0 known already, 2 refused."
    assert f"marks {parts[3]['part']['uuid']}: There is no such cell in this flat." in said.err
    assert "parts[1]: cell must be a place number" in said.err
    assert DayCount.objects.get().dead == 1


def test_other_content_under_a_uuid_is_refused_and_the_first_stays(run, flat, bob, capsys):
    parts = story(flat)
    twice = [*parts, {"noun": "marks", "part": parts[1]["part"] | {"state": "wilting"}}]
    fails(run, content(twice))
    said = capsys.readouterr()
    assert "2 parts taken in, 0 known already, 1 refused." in said.out
    assert Mark.objects.get().state == "dead"


def test_a_file_opens_no_check_again(run, flat, alice, capsys):
    check = check_flat(flat, {3: "dead"})
    closed = [str(closing.uuid) for closing in check.closings.all()]
    there = {"part": {"uuid": str(check.uuid)}}
    reopening = closing_part(there, kind="reopen", replaces=closed)
    del reopening["part"]["known"]
    fails(run, content([reopening], account="alice"))
    assert "opens no check again" in capsys.readouterr().err
    check.refresh_from_db()
    assert check.is_closed


def test_a_trial_says_the_same_and_stores_nothing(run, flat, bob):
    text = content(story(flat, [3, 17]))
    said = run(text, "--dry-run")
    assert said == "4 parts taken in, 0 known already, 0 refused. This was a trial: nothing was stored."
    for model in (Check, Mark, Closing, DayCount, Device):
        assert not model.objects.exists()
    assert run(text) == "4 parts taken in, 0 known already, 0 refused."


BROKEN = [
    (b"", "Line 1, column 1"),
    (content([])[:-40], "Was the file cut short?"),
    (b'{"takebook":\n  oops}', "Line 2, column 3"),
    (b'"\xff\xfe\xff"', "UTF-8"),
    (b"[" * 100_000, "no JSON"),
    (b"[]", "takebook must be"),
    (content([], takebook="flats"), "takebook must be"),
    (content([], v=2), "v must be 1"),
    (content([], v=True), "v must be 1"),
    (content([], device="x"), "device"),
    (content([], exported_at="yesterday"), "exported_at"),
    (content([], skew_ms="0"), "skew_ms"),
    (content([], skew_ms=True), "skew_ms"),
    (content([], skew_ms=float("nan")), "skew_ms"),
    (content([], skew_ms=1e300), "skew_ms"),
    (content([], account=5), "account"),
    (content({}), "parts must be a list"),
]


@pytest.mark.parametrize(("text", "said"), BROKEN, ids=range(len(BROKEN)))
def test_a_malformed_file_says_what_is_wrong_and_where(run, farm, text, said):
    message = fails(run, text)
    assert said in message and "waiting.json" in message and "Nothing was stored" in message


ENTRIES = [
    (5, "noun must be one of"),
    ({"noun": "flats", "part": {}}, "noun must be one of"),
    ({"noun": ["marks"], "part": {}}, "noun must be one of"),
    ({"noun": "marks"}, "part must be an object"),
    ({"noun": "marks", "part": {}}, "cell must be"),
    ({"noun": "closings", "part": {}}, "uuid is missing"),
]


@pytest.mark.parametrize(("entry", "said"), ENTRIES, ids=range(len(ENTRIES)))
def test_a_malformed_part_says_which_one_and_keeps_no_other_out(run, flat, bob, capsys, entry, said):
    fails(run, content([entry, *story(flat)]))
    printed = capsys.readouterr()
    assert "parts[0]: " + said in printed.err and "3 parts taken in" in printed.out
    assert Mark.objects.exists()


def test_a_file_that_is_not_there_is_named(farm, tmp_path):
    with pytest.raises(CommandError, match=r"nowhere\.json cannot be read: No such file"):
        call_command("import_marks", tmp_path / "nowhere.json")
