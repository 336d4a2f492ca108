"""Choosing graftings to put right, and saying what is true of them."""

import html
import re
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from nursery.models import Change, Run, RunSowing
from tests.factories import (
    GRAFTED_AT,
    make_flat,
    make_lot,
    make_pairing,
    make_run,
    make_session,
    make_sowing,
    make_worker,
)
from tests.views.checking import check_flat


@pytest.fixture
def runs(farm):
    pairing = make_pairing()
    today = timezone.localdate()
    return [make_run(pairing=pairing, grafted_on=today - timedelta(days=9)) for _ in range(3)]


def url(runs, *what):
    parts = [f"run={run.key}" for run in runs] + [f"what={name}" for name in what]
    return "/put-right/runs?" + "&".join(parts)


def post(client, runs, what, **values):
    data = {"run": [run.key for run in runs], "what": what, "reason": "misread", **values}
    return client.post("/put-right/runs", data)


def words(answer):
    return html.unescape(" ".join(re.sub(r"<[^>]+>", " ", answer.content.decode()).split()))


def test_the_runs_of_a_session_a_flat_or_a_search_can_be_chosen(grower, runs):
    session = make_session()
    Run.objects.filter(pk=runs[0].pk).update(session=session)

    def offered(query):
        found = re.findall(r'name="run" value="([^"]+)"', grower.get(f"/put-right{query}").content.decode())
        return {run.pk for run in runs if str(run.key) in found}

    assert offered("") == {run.pk for run in runs}
    assert offered(f"?session={session.key}") == {runs[0].pk}
    assert offered(f"?flat={runs[1].flat.code}") == {runs[1].pk}
    assert offered(f"?q={runs[2].flat.code}") == {runs[2].pk}


def test_what_is_on_the_bench_is_not_offered(grower, runs):
    make_run(runs[0].flat, places=(), started_at=GRAFTED_AT, finished_at=None)
    text = grower.get("/put-right").content.decode()
    assert str(runs[0].key) not in text and str(runs[1].key) in text


def test_nothing_chosen_leads_back_with_words(grower, runs):
    answer = grower.get("/put-right/runs", follow=True)
    assert "Choose at least one grafting" in words(answer)
    answer = grower.get(f"/put-right/runs?run={runs[0].key}", follow=True)
    assert "Choose what was wrong" in words(answer)


def test_only_what_shall_change_is_asked_with_what_stands_now(grower, runs):
    Run.objects.filter(pk=runs[0].pk).update(worker=make_worker("Wren <b>"))
    answer = grower.get(url(runs, "worker"))
    assert "Now: Not recorded (2), Wren <b> (1)" in words(answer)
    text = answer.content.decode()
    assert "<b> (1)" not in text  # a name is a name, no markup
    assert 'name="worker"' in text and 'name="pairing"' not in text


def test_three_flats_at_once(grower, runs, alice):
    wrong, right = (make_sowing(make_lot(runs[0].pairing.rootstock)) for _ in range(2))
    for run in runs:
        RunSowing.objects.create(run=run, sowing=wrong, side="rootstock")
    answer = post(grower, runs, ["rootstock_sowings"], rootstock_sowings=[right.code])
    assert answer.status_code == 302
    page = words(grower.get(answer.url))
    assert "3 flats put right" in page and wrong.lot.lot_number in page and right.lot.lot_number in page
    assert set(RunSowing.objects.values_list("sowing", flat=True)) == {right.pk}
    assert {(change.sent_by, change.reason) for change in Change.objects.all()} == {(alice, "misread")}


def test_where_runs_differ_empty_means_each_stays(grower, runs):
    Run.objects.filter(pk=runs[0].pk).update(worker=make_worker("Wren"), clip="blue")
    answer = post(grower, runs, ["worker", "method"], worker="", method="cleft")
    assert answer.status_code == 302
    assert Run.objects.get(pk=runs[0].pk).worker.name == "Wren"
    assert set(Run.objects.values_list("method", flat=True)) == {"cleft"}


def test_a_day_after_a_check_is_asked_about_once(grower, runs):
    check_flat(runs[0].flat, {1: "dead"}, days_ago=5)
    day = (timezone.localdate() - timedelta(days=3)).isoformat()
    answer = post(grower, runs[:1], ["grafted_on"], grafted_on=day)
    assert answer.status_code == 422
    assert "was checked on" in words(answer) and 'name="day_is_right"' in answer.content.decode()
    answer = post(grower, runs[:1], ["grafted_on"], grafted_on=day, odd="shown", day_is_right="on")
    assert answer.status_code == 302
    assert Run.objects.get(pk=runs[0].pk).grafted_on.isoformat() == day


@pytest.mark.parametrize(
    ("what", "values"),
    [
        ("method", {"method": "glue"}),
        ("method", {"method": "cleft", "reason": ""}),
        ("grafted_on", {"grafted_on": "2999-01-01"}),
        ("worker", {"worker": "11111111-2222-4333-8444-555555555555"}),
        ("method", {"method": "splice"}),
    ],
)
def test_what_is_wrong_stores_nothing(grower, runs, what, values):
    answer = post(grower, runs, [what], **values)
    assert answer.status_code == 422
    assert not Change.objects.exists()


@pytest.mark.parametrize(("client", "status"), [("crew", 403), ("tablet", 403), ("stranger", 302)])
def test_growers_only(request, runs, client, status):
    client = request.getfixturevalue(client)
    assert client.get("/put-right").status_code == status
    assert client.get(url(runs, "method")).status_code == status
    assert post(client, runs, ["method"], method="cleft").status_code == status
    assert not Change.objects.exists()


@pytest.mark.parametrize("key", ["nonsense", "11111111-2222-4333-8444-555555555555"])
def test_a_run_that_is_none_is_not_found(grower, runs, key):
    assert grower.get(f"/put-right/runs?run={key}&what=method").status_code == 404


def test_as_many_queries_for_many_runs_as_for_two(grower, farm):
    pairing = make_pairing()
    counts = []
    for number in (2, 20):
        for _ in range(number):
            make_run(make_flat(), pairing=pairing, places=range(1, 4), worker=make_worker())
        with CaptureQueriesContext(connection) as captured:
            assert grower.get("/put-right").status_code == 200
        counts.append(len(captured))
    assert counts[0] == counts[1] <= 12
