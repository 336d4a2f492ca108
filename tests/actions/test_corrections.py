"""Putting graftings right: worker, lots, pairing, method and day, on one run or on many."""

from datetime import date, timedelta

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext

from nursery.actions.corrections import correct_runs, earlier_checks, put_back
from nursery.actions.recount import differences
from nursery.actions.stamp import Stamp
from nursery.models import Change, DayCount, Flat, Run, RunSowing
from tests.actions.test_marks import DAY_14, check_in, close, mark_in, send
from tests.factories import (
    GRAFTED_AT,
    GRAFTED_ON,
    make_cultivar,
    make_flat,
    make_lot,
    make_pairing,
    make_run,
    make_season,
    make_sowing,
    make_worker,
)

pytestmark = pytest.mark.django_db
STAMP = Stamp.of(DAY_14 + timedelta(days=1))


@pytest.fixture
def pairing(farm):
    return make_pairing()


@pytest.fixture
def runs(pairing):
    return [make_run(pairing=pairing) for _ in range(3)]


def look(flat, at=DAY_14, dead=()):
    check = check_in(flat, at)
    send(checks=[check], marks=[mark_in(check, p) for p in dead], closings=[close(check)], received_at=at)


def correct(runs, **changes):
    return correct_runs(runs, changes=changes, reason="wrong lot was written", stamp=STAMP)


def sowings(run, side):
    return list(RunSowing.objects.filter(run=run, side=side).values_list("sowing", flat=True))


def test_the_lot_of_three_flats_is_put_right_at_once(runs, pairing):
    wrong, right = (make_sowing(make_lot(pairing.rootstock)) for _ in range(2))
    for run in runs:
        RunSowing.objects.create(run=run, sowing=wrong, side="rootstock")
    assert len(correct(runs, rootstock_sowings=(right,))) == 3
    assert [sowings(run, "rootstock") for run in runs] == [[right.pk]] * 3
    changes = Change.objects.filter(field="rootstock_sowings")
    assert {(row.old[0]["code"], row.new[0]["code"]) for row in changes} == {(wrong.code, right.code)}
    assert {row.reason for row in changes} == {"wrong lot was written"}
    assert "key" not in changes[0].old[0] and str(wrong.lot.lot_number) in changes[0].old[0]["name"]


def test_only_the_columns_that_change_are_written(runs):
    stale = Run.objects.get(pk=runs[0].pk)
    Run.objects.filter(pk=stale.pk).update(clip="blue clip")
    correct([stale], worker=make_worker("Wren"))
    run = Run.objects.get(pk=stale.pk)
    assert (run.clip, run.worker.name) == ("blue clip", "Wren")
    assert [(row.field, row.old, row.new["name"]) for row in Change.objects.all()] == [
        ("worker", None, "Wren")
    ]


def test_another_pairing_changes_the_counts_and_takes_off_sowings_that_do_not_fit(runs, pairing):
    sowing = make_sowing(make_lot(pairing.scion))
    kept = make_sowing(make_lot(pairing.rootstock))
    RunSowing.objects.create(run=runs[0], sowing=sowing, side="scion")
    RunSowing.objects.create(run=runs[0], sowing=kept, side="rootstock")
    look(runs[0].flat, dead=[1, 2])
    other = make_pairing(scion=make_cultivar(), rootstock=pairing.rootstock)
    correct(runs[:1], pairing=other)
    assert DayCount.objects.get().pairing == other
    assert (sowings(runs[0], "scion"), sowings(runs[0], "rootstock")) == ([], [kept.pk])
    assert set(Change.objects.values_list("field", flat=True)) == {"pairing", "scion_sowings"}
    assert list(differences()) == []


def test_another_day_moves_the_record_and_the_season(runs):
    # Looked at on 16 March: day 14 of 2 March, but only day 7 of 9 March.
    spring, late = make_season(ends_on=date(2026, 3, 5)), make_season("Late", date(2026, 3, 6))
    look(runs[0].flat)
    assert DayCount.objects.get(is_record=True).season == spring
    correct(runs[:1], grafted_on=date(2026, 3, 9))
    count = DayCount.objects.get()
    assert (count.is_record, count.season) == (False, late)
    assert Change.objects.get().old == "2026-03-02"
    assert list(differences()) == []


def test_tongue_approach_has_no_record_until_it_is_severed(runs):
    look(runs[0].flat)
    correct(runs[:1], method="tongue")
    assert not DayCount.objects.filter(is_record=True).exists()
    assert list(differences()) == []


def test_a_sowing_of_another_cultivar_is_refused_by_the_name_of_its_flat(runs):
    with pytest.raises(ValidationError) as refused:
        correct(runs, scion_sowings=(make_sowing(),))
    (text, *_) = refused.value.message_dict["scion_sowings"]
    assert text.startswith(runs[0].flat.code[:3]) and "choose a sowing of" in text
    assert not Change.objects.exists() and not RunSowing.objects.exists()


def test_one_wrong_run_keeps_all_of_them_as_they_were(runs):
    pair = make_worker("Wren"), make_worker("Ida")
    Run.objects.filter(pk=runs[2].pk).update(worker=pair[0], second_worker=pair[1])
    with pytest.raises(ValidationError, match="two different people"):
        correct(runs, worker=pair[1])
    assert not Run.objects.filter(worker=pair[1]).exists()


@pytest.mark.parametrize(
    ("changes", "reason", "said"),
    [
        ({"method": "cleft"}, " ", "Say in a few words"),
        ({"method": "splice"}, "why", "nothing changes"),
        ({"grafted_on": date(2026, 3, 18)}, "why", "still to come"),
    ],
)
def test_what_makes_no_sense_is_refused(runs, changes, reason, said):
    with pytest.raises(ValidationError, match=said):
        correct_runs(runs, changes=changes, reason=reason, stamp=STAMP)


def test_runs_on_the_bench_and_tallies_are_put_right_elsewhere(runs, pairing):
    open_run = make_run(pairing=pairing, started_at=GRAFTED_AT, finished_at=None, places=())
    with pytest.raises(ValidationError, match="on the bench"):
        correct([open_run], method="cleft")
    tally = Flat.objects.create(
        code="F000004", origin="tally", season=make_season(), own_name="7", created_at=GRAFTED_AT
    )
    with pytest.raises(ValidationError, match="imported"):
        correct([make_run(tally, pairing=pairing, places=())], method="cleft")


def test_unknown_fields_are_a_fault_of_ours(runs):
    with pytest.raises(ValueError, match="grafted_on"):
        correct(runs, flat=make_flat())


def test_put_back_is_the_same_correction_the_other_way(runs, pairing):
    ida = make_worker("Ida")
    first = make_sowing(make_lot(pairing.scion))
    RunSowing.objects.create(run=runs[0], sowing=first, side="scion")
    before = {run.pk: (run.worker_id, run.method, sowings(run, "scion")) for run in runs}
    correct(runs, worker=ida, method="cleft", scion_sowings=(make_sowing(make_lot(pairing.scion)),))
    back = Stamp.of(STAMP.at + timedelta(hours=1))
    assert len(put_back(Change.objects.first(), stamp=back)) == 9
    after = {run.pk: (run.worker_id, run.method, sowings(run, "scion")) for run in Run.objects.all()}
    assert after == before
    assert Change.objects.count() == 18  # three runs, three fields, there and back


def test_what_was_changed_again_since_is_not_put_back(runs):
    correct(runs[:1], method="cleft")
    change = Change.objects.get()
    correct_runs(
        runs[:1], changes={"method": "tongue"}, reason="no", stamp=Stamp.of(STAMP.at + timedelta(hours=1))
    )
    with pytest.raises(ValidationError, match="changed again since"):
        put_back(change, stamp=Stamp.of(STAMP.at + timedelta(hours=2)))


def test_checks_before_the_day_are_named(runs):
    look(runs[0].flat, DAY_14)
    look(runs[1].flat, DAY_14 - timedelta(days=9))
    assert [check.flat for check in earlier_checks(runs, date(2026, 3, 8))] == [runs[1].flat]
    assert earlier_checks(runs, GRAFTED_ON) == []


def test_thirty_runs_take_few_queries_each(pairing):
    few, many = [make_run(pairing=pairing)], [make_run(pairing=pairing) for _ in range(30)]
    counts = []
    for some in (few, many):
        with CaptureQueriesContext(connection) as captured:
            correct(some, worker=make_worker())
        counts.append(len(captured))
    assert counts[1] - counts[0] <= 29  # one UPDATE a run, and nothing else
