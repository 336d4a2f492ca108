"""The take report: what is a take, what stands apart, and what the spread between flats is made of."""

from dataclasses import replace
from datetime import timedelta

import pytest

from nursery.calc.take import dispersion, take_interval
from nursery.models import DayCount
from nursery.models.take_apart import leaving_days
from nursery.models.takes import TakeBy, TakeFilter, take_report
from tests.factories import (
    GRAFTED_ON,
    make_crop,
    make_cultivar,
    make_flat,
    make_lot,
    make_pairing,
    make_run,
    make_season,
    make_session,
    make_sowing,
    make_worker,
)

pytestmark = pytest.mark.django_db


def make_count(run, *, day=14, grafted=72, is_record=True, **counts):
    """A closed count of ``run``; what was seen neither alive nor gone is dead."""
    counts = {"alive": 0, "wilting": 0, "gone": 0, "gone_early": 0, "season": None, **counts}
    seen = counts.pop("seen", grafted)
    return DayCount.objects.create(
        flat=run.flat,
        run=run,
        day=run.grafted_on + timedelta(days=day),
        pairing=run.pairing,
        grafted=grafted,
        seen=seen,
        dead=seen - counts["alive"] - counts["gone"],
        is_closed=True,
        is_record=is_record,
        **counts,
    )


def recorded(pairing, *alive, grafted=72, worker=None):
    """One flat for each number alive, each grafted as one run."""
    for number in alive:
        run = make_run(places=[], pairing=pairing, worker=worker)
        make_count(run, grafted=grafted, alive=number)


def report(by=TakeBy.PAIRING, season=None):
    return take_report(by=by, only=TakeFilter(season=season))


def only_crop(**options):
    (crop,) = report(**options).crops
    return crop


@pytest.fixture
def tomato():
    return make_crop("Tomato")


@pytest.fixture
def pairing(tomato):
    return make_pairing(make_cultivar("Amber Lantern", tomato), make_cultivar("Stonefoot", tomato))


@pytest.fixture
def other_pairing(tomato):
    return make_pairing(make_cultivar("Ruby Coach", tomato), make_cultivar("Tallow", tomato))


def test_a_row_sums_its_flats_and_has_the_range_of_their_spread(pairing, other_pairing):
    recorded(pairing, 70, 66, 68)
    recorded(other_pairing, 40, 60)
    crop = only_crop()
    phi, df = dispersion([70, 66, 68, 40, 60], [72] * 5, groups="aaabb")
    assert (crop.crop, crop.dispersion, crop.df) == ("Tomato", pytest.approx(phi, rel=1e-12), df)
    first, second = crop.rows
    assert (first.name, first.flats, first.runs) == ("Amber Lantern on Stonefoot", 3, 3)
    assert (first.alive, first.grafted, first.take_share) == (204, 216, 204 / 216)
    assert (first.low, first.high) == pytest.approx(take_interval(204, 216, phi=phi, df=df), rel=1e-12)
    assert (second.name, second.alive) == ("Ruby Coach on Tallow", 100)


def test_each_crop_has_its_own_dispersion(pairing):
    pepper = make_crop("Pepper")
    recorded(pairing, 72, 30)
    recorded(make_pairing(make_cultivar("Night Plum", pepper), make_cultivar("Low Road", pepper)), 50, 51)
    pepper_takes, tomato_takes = report().crops
    assert pepper_takes.dispersion == 1.0
    assert tomato_takes.dispersion > 20


def test_dividing_a_flat_into_runs_changes_no_range(pairing):
    recorded(pairing, 70, 50)
    flat = make_flat()
    whole_flat = make_run(flat, places=[], pairing=pairing)
    count = make_count(whole_flat, grafted=72, alive=60)
    before = only_crop()
    count.delete()
    for grafted, alive in ((30, 29), (22, 11), (20, 20)):
        make_count(make_run(flat, places=[], pairing=pairing), grafted=grafted, alive=alive)
    after = only_crop()
    assert (before.dispersion, before.df) == (after.dispersion, after.df)
    assert (before.rows[0].low, before.rows[0].high) == (after.rows[0].low, after.rows[0].high)
    assert (before.rows[0].runs, after.rows[0].runs) == (3, 5)
    assert (before.rows[0].flats, after.rows[0].flats) == (3, 3)


def test_two_pairings_on_one_flat_are_a_flat_of_each(pairing, other_pairing):
    flat = make_flat()
    for which, alive in ((pairing, 30), (other_pairing, 20)):
        make_count(make_run(flat, places=[], pairing=which), grafted=36, alive=alive)
    crop = only_crop()
    assert [row.flats for row in crop.rows] == [1, 1]


def test_one_flat_cannot_tell(pairing, other_pairing):
    recorded(pairing, 70)
    recorded(other_pairing, 60)
    crop = only_crop()
    assert (crop.dispersion, crop.df) == (None, 0)
    assert all(row.low is None and row.high is None for row in crop.rows)
    assert crop.close_to_first == []


def test_wilting_counts_as_alive_and_stands_beside_it(pairing):
    make_count(make_run(places=[], pairing=pairing), alive=60, wilting=7)
    (row,) = only_crop().rows
    assert (row.alive, row.wilting) == (60, 7)


def test_gone_late_counts_as_alive_and_gone_early_nowhere(pairing):
    run = make_run(places=[], pairing=pairing)
    make_count(run, day=5, alive=60, gone=2, gone_early=2, is_record=False)
    make_count(run, day=12, alive=10, gone=52, gone_early=2, is_record=False)
    make_count(run, day=14, alive=9, gone=53, gone_early=2)
    make_count(run, day=20, alive=0, gone=62, gone_early=2, is_record=False)
    crop = only_crop()
    (row,) = crop.rows
    assert (row.grafted, row.alive) == (70, 60)
    (left,) = crop.left_early
    assert (left.early, left.counted) == (2, ((12, 50), (14, 1)))


def test_a_run_of_which_all_left_early_is_in_no_rate(pairing):
    make_count(make_run(places=[], pairing=pairing), grafted=30, gone=30, gone_early=30)
    crop = only_crop()
    assert crop.rows == ()
    assert [(row.name, row.early) for row in crop.left_early] == [("Amber Lantern on Stonefoot", 30)]


@pytest.mark.parametrize(
    ("gone_by_day", "left"),
    [
        ([(8, 5), (12, 9)], {8: 5, 12: 4}),
        ([(8, 5), (10, 2), (12, 9)], {8: 2, 12: 7}),
        ([(8, 5), (12, 5)], {8: 5}),
    ],
)
def test_the_days_of_leaving_add_up_to_the_last(gone_by_day, left):
    assert leaving_days(gone_by_day) == left


def test_early_counts_are_never_mixed_in(pairing):
    recorded(pairing, 70, 66)
    before = only_crop()
    run = make_run(places=[], pairing=pairing)
    make_count(run, day=3, alive=72, is_record=False)
    make_count(run, day=7, alive=50, wilting=4, is_record=False)
    after = only_crop()
    assert [replace(row, flats_grafted=2) for row in after.rows] == list(before.rows)
    assert [row.flats_grafted for row in after.rows] == [3]
    assert (after.dispersion, after.df) == (before.dispersion, before.df)
    (early,) = after.early
    assert (early.day, early.flats, early.grafted, early.alive, early.wilting) == (7, 1, 72, 50, 4)


def test_counts_after_the_record_change_nothing(pairing):
    run = make_run(places=[], pairing=pairing)
    make_count(run, day=14, alive=60)
    make_count(run, day=21, alive=40, is_record=False)
    crop = only_crop()
    assert crop.rows[0].alive == 60
    assert crop.early == ()


def test_an_open_day_is_no_count(pairing):
    count = make_count(make_run(places=[], pairing=pairing), day=7, alive=60, is_record=False)
    DayCount.objects.filter(pk=count.pk).update(is_closed=False)
    assert report().crops == ()


def test_a_day_seen_in_part_says_how_much(pairing):
    run = make_run(places=[], pairing=pairing)
    make_count(run, day=7, alive=70, is_record=False)
    make_count(run, day=14, alive=30, seen=36, is_record=False)
    crop = only_crop()
    assert [(row.day, row.seen, row.grafted) for row in crop.part_seen] == [(14, 36, 72)]
    assert [(row.day, row.alive) for row in crop.early] == [(7, 70)]


def test_a_part_seen_before_a_whole_count_is_past(pairing):
    run = make_run(places=[], pairing=pairing)
    make_count(run, day=5, alive=30, seen=36, is_record=False)
    make_count(run, day=7, alive=70, is_record=False)
    assert only_crop().part_seen == ()


def test_a_season_is_its_own(pairing):
    season, other = make_season(), make_season("Old", *(d - timedelta(days=400) for d in (GRAFTED_ON,) * 2))
    for alive, of in ((70, season), (60, season), (10, other)):
        make_count(make_run(places=[], pairing=pairing), alive=alive, season=of)
    assert only_crop(season=season).rows[0].alive == 130
    assert only_crop(season=other).rows[0].alive == 10
    assert only_crop().rows[0].alive == 140


def test_grafters_pairs_and_the_unknown_are_rows(pairing):
    wren, ash = make_worker("Wren"), make_worker("Ash")
    for alive, workers in ((70, (wren, None)), (60, (wren, ash)), (50, (ash, wren)), (40, (None, None))):
        run = make_run(places=[], pairing=pairing, worker=workers[0], second_worker=workers[1])
        make_count(run, alive=alive)
    rows = {row.name: row.alive for row in only_crop(by=TakeBy.GRAFTER).rows}
    assert rows == {"Wren": 70, "Ash with Wren": 110, "not recorded": 40}


def test_one_grafter_sees_the_own_row_with_the_spread_of_all(pairing):
    wren, ash = make_worker("Wren"), make_worker("Ash")
    recorded(pairing, 70, 40, worker=wren)
    recorded(pairing, 60, 20, worker=ash)
    run = make_run(places=[], pairing=pairing, worker=wren, second_worker=ash)
    make_count(run, alive=30)
    everything = report(by=TakeBy.GRAFTER)
    (limited,) = everything.limited_to({wren.pk}).crops
    assert [row.name for row in limited.rows] == ["Wren"]
    assert limited.dispersion == everything.crops[0].dispersion
    assert limited.rows[0] in everything.crops[0].rows


def test_rootstocks_of_one_name_are_told_apart(tomato):
    scion = make_cultivar("Amber Lantern", tomato)
    for crop in ("Tomato", "Eggplant"):
        recorded(make_pairing(scion, make_cultivar("Stonefoot", make_crop(crop))), 60)
    names = {row.name for row in only_crop().rows}
    assert names == {"Amber Lantern on Stonefoot (Tomato)", "Amber Lantern on Stonefoot (Eggplant)"}


def test_overlapping_ranges_are_counted_from_the_first(pairing, other_pairing, tomato):
    recorded(pairing, 70, 69, 71)
    recorded(other_pairing, 68, 70, 69)
    recorded(make_pairing(make_cultivar("Night Plum", tomato), make_cultivar("Low Road", tomato)), 20, 21, 19)
    assert [row.name for row in only_crop().close_to_first] == ["Ruby Coach on Tallow"]


@pytest.mark.parametrize("by", list(TakeBy))
def test_reads_the_counts_only_in_the_same_number_of_queries(by, pairing, django_assert_num_queries):
    def fill(rows):
        for i in range(rows):
            crop = make_crop(f"Crop {i % 9}")
            fresh = make_pairing(make_cultivar(crop=crop), make_cultivar(crop=crop))
            workers = {"worker": make_worker(), "second_worker": make_worker() if i % 2 else None}
            run = make_run(places=[], pairing=fresh, session=make_session(), **workers)
            for side, cultivar in (("scion", fresh.scion), ("rootstock", fresh.rootstock)):
                run.run_sowings.create(sowing=make_sowing(make_lot(cultivar)), side=side)
            make_count(run, day=12, alive=40, gone=20, is_record=False)
            make_count(run, alive=30, gone=30, gone_early=5)
            make_count(make_run(places=[], pairing=fresh), day=7, alive=60, is_record=False)
            make_count(make_run(places=[], pairing=fresh), day=7, alive=6, seen=9, is_record=False)

    queries = 9 if by in {TakeBy.PAIRING, TakeBy.METHOD, TakeBy.ROOTS} else 10
    fill(2)
    with django_assert_num_queries(queries) as captured:
        report(by=by)
    fill(60)
    with django_assert_num_queries(queries):
        rows = sum(len(crop.rows) for crop in report(by=by).crops)
    assert rows >= 62 or by in {TakeBy.METHOD, TakeBy.ROOTS, TakeBy.PLACE}
    sql = " ".join(query["sql"] for query in captured.captured_queries)
    assert "nursery_daycount" in sql
    assert "nursery_mark" not in sql and "nursery_cell" not in sql
