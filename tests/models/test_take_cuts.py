"""In which row of each cut a graft falls, and that no cut loses or doubles one."""

import random
from datetime import date, timedelta
from uuid import uuid4

import pytest

from nursery.models import Flat, Place, PlaceMove, Run, StageMove, Voiding
from nursery.models.takes import TakeBy, TakeFilter, take_report
from tests.factories import (
    GRAFTED_AT,
    make_crop,
    make_cultivar,
    make_flat,
    make_lot,
    make_pairing,
    make_place,
    make_run,
    make_season,
    make_session,
    make_sowing,
    make_worker,
)
from tests.models.rows import SIGNED
from tests.models.test_takes import make_count

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)


def rows(by, **only):
    report = take_report(by=by, only=TakeFilter(**only))
    return {row.name: (row.alive, row.grafted) for crop in report.crops for row in crop.rows}


def counted(alive=60, flat=None, **fields):
    run = make_run(flat, places=[], **fields)
    make_count(run, alive=alive)
    return run


def signed(hours):
    at = GRAFTED_AT + hours * HOUR
    return {**SIGNED, "at": at, "uuid": uuid4()}


def moved(flat, stage, place, hours):
    return StageMove.objects.create(flat=flat, stage=stage, place=place, **signed(hours))


# --- every cut -------------------------------------------------------------------------------------------


def _a_crowded_book(rng):
    """Runs of three crops with everything about them recorded or not, several on a flat, lots mixed."""
    pairings = [
        make_pairing(make_cultivar(crop=crop), make_cultivar())
        for crop in (make_crop("Tomato"), make_crop("Pepper"), make_crop("Melon"))
        for _ in range(2)
    ]
    workers = [make_worker() for _ in range(3)]
    sessions, places = (
        [make_session() for _ in range(2)],
        [make_place(kind="chamber"), make_place(kind="trolley")],
    )
    sowings = {side: [make_sowing(make_lot()) for _ in range(3)] for side in ("scion", "rootstock")}
    flats = [make_flat() for _ in range(8)]
    for flat in flats:
        if rng.random() < 0.7:
            moved(flat, "chamber", rng.choice([*places, None]), 1)
    for _ in range(24):
        first, second = rng.choice([(None, None), (workers[0], None), tuple(rng.sample(workers, 2))])
        run = make_run(
            rng.choice(flats), places=[], pairing=rng.choice(pairings), worker=first, second_worker=second,
            method=rng.choice(["splice", "cleft"]), roots=rng.choice(["own", "restuck", "unknown"]),
            session=rng.choice([*sessions, None]),
        )  # fmt: skip
        for side, choice in sowings.items():
            for sowing in rng.sample(choice, rng.choice([0, 1, 2])):
                run.run_sowings.create(sowing=sowing, side=side)
        grafted = rng.randint(1, 40)
        early = rng.choice([0, 0, 1])
        gone = rng.randint(early, grafted)
        make_count(
            run, grafted=grafted, gone=gone, gone_early=early, alive=rng.randint(0, grafted - gone),
            is_record=rng.random() < 0.8,
        )  # fmt: skip


@pytest.mark.parametrize("seed", range(6))
def test_every_cut_sums_to_the_same(seed):
    _a_crowded_book(random.Random(seed))
    sums = {}
    for by in TakeBy:
        report = take_report(by=by)
        sums[by] = {
            crop.crop: tuple(
                sum(getattr(row, name) for row in crop.rows)
                for name in ("grafted", "alive", "wilting", "runs")
            )
            for crop in report.crops
        }
        of_waiting = {
            crop.crop: sum(row.grafted for row in (*crop.early, *crop.part_seen)) for crop in report.crops
        }
        sums[by] = {crop: (*numbers, of_waiting[crop]) for crop, numbers in sums[by].items()}
    assert sums[TakeBy.PAIRING]
    for by in TakeBy:
        assert sums[by] == sums[TakeBy.PAIRING], by


@pytest.mark.parametrize("by", list(TakeBy))
def test_a_row_kept_to_is_the_row_itself(by):
    _a_crowded_book(random.Random(7))
    report = take_report(by=by)
    for crop in report.crops:
        for row in crop.rows:
            again = take_report(by=by, only=TakeFilter(rows={by: row.key}))
            (same,) = (one for c in again.crops if c.crop == crop.crop for one in c.rows)
            wanted = (row.grafted, row.alive, row.flats, row.flats_grafted, row.runs)
            assert (same.grafted, same.alive, same.flats, same.flats_grafted, same.runs) == wanted


# --- what is not recorded, and what is mixed ------------------------------------------------------------


def test_roots_and_sessions_that_nobody_wrote_down_are_rows():
    pairing = make_pairing()
    session = make_session(place=make_place("Long bench"))
    counted(60, pairing=pairing, roots="own", session=session)
    counted(50, pairing=pairing, roots="restuck")
    counted(40, pairing=pairing)
    assert rows(TakeBy.ROOTS) == {
        "On own roots": (60, 72), "Restuck (roots cut off)": (50, 72), "not recorded": (40, 72),
    }  # fmt: skip
    by_session = rows(TakeBy.SESSION)
    assert by_session["not recorded"] == (90, 144)
    assert [name for name in by_session if name.endswith("Long bench")]


def test_lots_one_several_and_none():
    pairing = make_pairing(make_cultivar("Amber Lantern"))
    one, other = (make_sowing(_lot(pairing.scion, number)) for number in ("A-1", "A-2"))
    again = make_sowing(one.lot)
    for alive, sowings in ((60, [one]), (50, [one, again]), (40, [one, other]), (30, [])):
        run = counted(alive, pairing=pairing)
        for sowing in sowings:
            run.run_sowings.create(sowing=sowing, side="scion")
    # Two sowings of one lot are one lot.
    assert rows(TakeBy.SCION_LOT) == {
        "Amber Lantern, A-1": (110, 144), "mixed: several lots": (40, 72), "not recorded": (30, 72),
    }  # fmt: skip
    assert rows(TakeBy.ROOTSTOCK_LOT) == {"not recorded": (180, 288)}


def _lot(cultivar, number):
    lot = make_lot(cultivar)
    type(lot).objects.filter(pk=lot.pk).update(lot_number=number)
    lot.refresh_from_db()
    return lot


# --- where a flat healed --------------------------------------------------------------------------------


@pytest.fixture
def chamber():
    return make_place("Chamber 1", kind="chamber")


@pytest.fixture
def trolley(chamber):
    return make_place("Trolley 3", kind="trolley")


def test_a_flat_healed_where_it_first_came_after_the_bench(chamber):
    flat = counted().flat
    moved(flat, "acclimation", make_place("Bay 2", kind="bay"), 90)
    moved(flat, "chamber", chamber, 1)
    moved(flat, "bench", make_place("Long bench"), 0)
    assert rows(TakeBy.PLACE) == {"Chamber 1": (60, 72)}


def test_a_flat_that_never_left_the_bench_healed_nowhere():
    flat = counted().flat
    moved(flat, "bench", make_place("Long bench"), 0)
    assert rows(TakeBy.PLACE) == {"not recorded": (60, 72)}


def test_a_move_that_was_taken_back_is_none(chamber):
    flat = counted().flat
    wrong = moved(flat, "chamber", make_place("Wrong chamber", kind="chamber"), 1)
    moved(flat, "chamber", chamber, 2)
    Voiding.objects.create(target_uuid=wrong.uuid, target_noun="stage move", **signed(3))
    assert rows(TakeBy.PLACE) == {"Chamber 1": (60, 72)}


def test_a_trolley_is_the_place_it_stood_in_then(chamber, trolley):
    bay = make_place("Bay 2", kind="bay")
    for place, hours in ((chamber, 0), (bay, 100)):
        PlaceMove.objects.create(place=trolley, stands_in=place, **signed(hours))
    moved(counted(60).flat, "chamber", trolley, 1)
    moved(counted(50).flat, "chamber", trolley, 101)
    assert rows(TakeBy.PLACE) == {"Chamber 1": (60, 72), "Bay 2": (50, 72)}


def test_a_trolley_of_which_nobody_said_where_it_stood_is_the_row(chamber, trolley):
    Place.objects.filter(pk=trolley.pk).update(stands_in=chamber)  # said later, not then
    moved(counted(60).flat, "chamber", trolley, 1)
    assert rows(TakeBy.PLACE) == {"Trolley 3": (60, 72)}


# --- filters --------------------------------------------------------------------------------------------


def test_days_of_grafting_bound_both_ends():
    pairing = make_pairing()
    first = counted(60, pairing=pairing)
    day = first.grafted_on
    counted(50, pairing=pairing, grafted_on=day + timedelta(days=1))
    counted(40, pairing=pairing, grafted_on=day + timedelta(days=2))
    name = str(pairing)
    assert rows(TakeBy.PAIRING, first_day=day + timedelta(days=1)) == {name: (90, 144)}
    assert rows(TakeBy.PAIRING, last_day=day) == {name: (60, 72)}
    assert rows(TakeBy.PAIRING, first_day=day, last_day=day + timedelta(days=1)) == {name: (110, 144)}


def test_flats_are_counted_of_those_grafted_in_the_row():
    pairing, other = make_pairing(), make_pairing()
    flat = make_flat()
    counted(60, pairing=pairing, flat=flat)
    make_run(flat, places=[], pairing=pairing)  # waits, but its flat is counted
    make_run(flat, places=[], pairing=other)  # waits: a flat of the other row
    counted(60, pairing=other)
    waiting = make_flat()
    for _ in range(2):
        make_run(waiting, places=[], pairing=pairing)  # one flat, however many runs
    make_run(places=[], pairing=pairing, started_at=GRAFTED_AT, finished_at=None)  # in hand: not grafted yet
    report = take_report(by=TakeBy.PAIRING)
    shares = {row.name: (row.flats, row.flats_grafted) for crop in report.crops for row in crop.rows}
    assert shares == {str(pairing): (1, 2), str(other): (1, 2)}
    assert Run.objects.count() == 7


def test_a_past_seasons_flat_is_of_the_season_it_was_brought_in_for():
    """Whatever its days: also a run that waits, which has no count to say of which season it is."""
    pairing = make_pairing()
    spring = make_season("Spring 2026")
    past = make_season("Spring 2025", date(2025, 1, 1), date(2025, 6, 30))
    tally = make_flat()
    Flat.objects.filter(pk=tally.pk).update(origin="tally", season=past, own_name="Old 1", tray_format=None)
    for flat, season in ((tally, past), (make_flat(), spring)):
        run = make_run(flat, places=[], pairing=pairing, grafted_on=date(2026, 3, 2))
        make_count(run, alive=60, season=season)
        waits = make_run(flat, places=[], pairing=make_pairing(), grafted_on=date(2026, 3, 2))
        make_count(waits, day=7, alive=50, is_record=False, season=season)
    for season in (spring, past):
        report = take_report(by=TakeBy.PAIRING, only=TakeFilter(season=season))
        found = [(len(crop.rows), len(crop.early)) for crop in report.crops]
        assert found == [(1, 1)], season
    assert rows(TakeBy.PAIRING, season=make_season("None", date(2020, 1, 1), date(2020, 6, 1))) == {}
