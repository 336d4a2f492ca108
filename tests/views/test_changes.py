"""The list of everything that changed a number, one act of it, and putting it back."""

import html
import re
from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from nursery.actions.batch import Batch, ClosingIn, MarkIn, Sender
from nursery.actions.corrections import correct_runs
from nursery.actions.leaving import let_leave
from nursery.actions.marks import receive_batch
from nursery.actions.mending import give_check, unvoid_check, void_check
from nursery.actions.settling import flat_disputes, settle
from nursery.actions.stamp import Stamp
from nursery.actions.undo_leaving import undo_leaving
from nursery.models import Cell, Change, Mark, Run
from tests.factories import make_flat, make_run, make_season, make_worker
from tests.views.checking import check_flat

HTMX = {"HX-Request": "true"}


@pytest.fixture
def flats(farm):
    flats = [make_flat(), make_flat()]
    for flat in flats:
        make_run(flat, grafted_on=timezone.localdate() - timedelta(days=9))
    return flats


def lines(client, query="", **headers):
    answer = client.get(f"/changes{query}", headers=headers)
    assert answer.status_code == 200
    found = re.findall(r'<li class="change">(.*?)</li>', answer.content.decode(), re.DOTALL)
    return [html.unescape(" ".join(re.sub(r"<[^>]+>", " ", line).split())) for line in found]


def one_of_each(flats, account):
    """Do everything that the list tells of, once."""
    said, looked_at = flats
    stamp = Stamp.now(account)
    correct_runs(said.runs.all(), changes={"method": "cleft"}, reason="misread", stamp=stamp)
    first = check_flat(said, {1: "dead", 2: "dead"}, days_ago=2)
    give_check(first, to_flat=looked_at, reason="wrong label", stamp=Stamp.now(account))
    second = check_flat(said, {3: "dead"}, days_ago=1)
    void_check(second, reason="the lamp was off", stamp=Stamp.now(account))
    second.refresh_from_db()
    unvoid_check(second, reason="it was on", stamp=Stamp.now(account))
    check_flat(said, {3: "wilting"}, days_ago=1)
    [dispute] = flat_disputes(said)
    settle(
        Cell.objects.get(pk=dispute.cell.id), uuids=dispute.open_uuids, state="wilting", reason="looked",
        stamp=Stamp.now(account),
    )  # fmt: skip
    now = timezone.now()
    late = [MarkIn(uuid4(), second.uuid, place, 1, "dead", now) for place in (5, 6)]
    receive_batch(Batch(sent_at=now, marks=late), Sender(account, None, now))
    now = timezone.now()
    ask = ClosingIn(uuid4(), second.uuid, now, kind="ask", reason="forgot row F")
    closed = tuple(str(uuid) for uuid in second.closings.values_list("uuid", flat=True))
    reopen = ClosingIn(uuid4(), second.uuid, now, kind="reopen", replaces=closed)
    receive_batch(Batch(sent_at=now, closings=[ask, reopen]), Sender(account, None, now))
    leaving = let_leave(said, places=[9], reason="sold", stamp=Stamp.now(account))
    undo_leaving(leaving, stamp=Stamp.now(account), reason="not yet")


def test_everything_that_changed_a_number_is_told_with_who_and_why(grower, flats, alice):
    one_of_each(flats, alice)
    told = "\n".join(lines(grower))
    for words in [
        "Method : Splice (tube or clip) → became Cleft “misread”",
        "Check given to another flat",
        "“wrong label”",
        "voided “the lamp was off”",
        "put back “it was on”",
        "A3 settled : dead, wilting → became wilting “looked”",
        "2 marks came in after the closing",
        "Asked to open the check",
        "opened again",
        "undone: Sold “not yet”",
    ]:
        assert words in told, words
    assert "· alice ·" in told


def test_by_kind_flat_person_and_time(grower, flats, alice):
    one_of_each(flats, alice)
    everything = lines(grower)
    assert len(lines(grower, "?kind=corrected")) == 1
    assert len(lines(grower, "?kind=voided")) == 3
    own = lines(grower, f"?flat={flats[1].code}")
    assert len(own) == 1 and "given to another flat" in own[0]
    assert len(lines(grower, f"?flat={flats[0].code}")) == len(everything)
    assert lines(grower, "?person=a-alice") == everything
    today = timezone.localdate()
    assert lines(grower, f"?last={today - timedelta(days=1)}") == []
    assert len(lines(grower, f"?first={today}")) == len(everything)
    season = make_season("Now", today - timedelta(days=3), today + timedelta(days=3))
    assert len(lines(grower, f"?season={season.key}")) == len(everything)


def test_one_act_on_many_flats_is_one_line(grower, farm, alice):
    runs = [make_run() for _ in range(8)]
    correct_runs(runs, changes={"worker": make_worker("Ida")}, reason="why", stamp=Stamp.now(alice))
    [line] = lines(grower)
    assert "Grafter : Not recorded → became Ida" in line and "and 2 more" in line


def test_what_the_bench_put_right_is_told_by_name(grower, flats, alice):
    old, new = make_worker("Ida"), make_worker("Wren")
    Change.objects.create(
        flat=flats[0], run=flats[0].runs.get(), field="worker", old=str(old.key), new=str(new.key),
        **Stamp.now(alice).fields(),
    )  # fmt: skip
    assert "Grafter : Ida → became Wren" in lines(grower)[0]


@pytest.mark.parametrize("query", ["?flat=F000000", "?flat=nonsense", "?first=2026-03-02&last=2026-03-01"])
def test_a_filter_that_says_nothing_is_answered_in_words(grower, query):
    answer = grower.get(f"/changes{query}")
    assert answer.status_code == 422
    assert 'data-kind="error"' in answer.content.decode()


def test_htmx_gets_the_lines_alone(grower, flats, alice):
    one_of_each(flats, alice)
    answer = grower.get("/changes?kind=voided", headers=HTMX)
    text = answer.content.decode()
    assert text.lstrip().startswith('<div id="change-lines"') and "<h1" not in text


def test_an_empty_book_says_so(grower):
    assert "Nothing was changed yet" in grower.get("/changes").content.decode()


def test_as_many_queries_for_many_lines_as_for_few(grower, farm, alice):
    counts = []
    for number in (1, 5):
        for _ in range(number):
            flats = [make_flat(), make_flat()]
            for flat in flats:
                make_run(flat, grafted_on=timezone.localdate() - timedelta(days=9))
            one_of_each(flats, alice)
        with CaptureQueriesContext(connection) as captured:
            told = lines(grower)
        counts.append(len(captured))
        assert len(told) == (9 if number == 1 else 40)
    assert counts[0] == counts[1] <= 40


def put_right(alice, **changes):
    run = make_run()
    return correct_runs([run], changes=changes, reason="misread", stamp=Stamp.now(alice))[0]


def test_put_back(grower, farm, alice):
    change = put_right(alice, method="cleft")
    answer = grower.post(f"/changes/{change.uuid}/put-back")
    assert answer.status_code == 302
    assert Run.objects.get().method == "splice"
    assert "Put back" in grower.get(answer.url).content.decode()


def test_put_back_of_what_was_changed_since_is_refused_in_words(grower, farm, alice):
    change = put_right(alice, method="cleft")
    correct_runs([change.run], changes={"method": "tongue"}, reason="no", stamp=Stamp.now(alice))
    answer = grower.post(f"/changes/{change.uuid}/put-back")
    assert answer.status_code == 422 and "changed again since" in answer.content.decode()
    assert Run.objects.get().method == "tongue"


@pytest.mark.parametrize(
    ("client", "reads", "writes"), [("crew", 200, 403), ("tablet", 200, 403), ("stranger", 302, 302)]
)
def test_crew_reads_and_growers_put_back(request, farm, alice, client, reads, writes):
    change = put_right(alice, method="cleft")
    client = request.getfixturevalue(client)
    assert client.get("/changes").status_code == reads
    assert client.get(f"/changes/{change.uuid}").status_code == reads
    assert client.post(f"/changes/{change.uuid}/put-back").status_code == writes
    assert Run.objects.get().method == "cleft"


def test_what_is_no_correction_of_a_run_has_no_page(grower, flats, alice):
    check = check_flat(flats[0], {1: "dead"})
    give_check(check, to_flat=flats[1], reason="", stamp=Stamp.now(alice))
    assert grower.get(f"/changes/{Change.objects.get().uuid}").status_code == 404
    assert grower.get(f"/changes/{uuid4()}").status_code == 404
    assert Mark.objects.exists()
