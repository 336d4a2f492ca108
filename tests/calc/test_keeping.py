from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nursery.calc.keeping import copies_to_keep, is_copy_due, last_planned

PRAGUE = ZoneInfo("Europe/Prague")
HALF_PAST_TWO = time(2, 30)
MOMENTS = st.datetimes(datetime(2026, 1, 1), datetime(2028, 12, 31))


def night(day, month, hour=2):
    return datetime(2026, month, day, hour, 30)


def test_keeps_a_week_of_days_and_the_newest_of_each_month():
    # the worked example of the module
    made = [night(31, 1), *(night(day, 2) for day in range(1, 11))]
    assert copies_to_keep(made) == {night(31, 1), *(night(day, 2) for day in range(4, 11))}


def test_copies_made_by_hand_push_no_day_out():
    nights = [night(day, 3) for day in range(1, 8)]
    by_hand = [datetime(2026, 3, 7, 12, minute) for minute in range(30)]
    assert copies_to_keep(nights + by_hand) == {*nights[:-1], by_hand[-1]}


def test_seven_days_are_days_with_a_copy_not_days_of_the_calendar():
    made = [night(day, month) for month in (1, 2) for day in (3, 9, 15, 21)]
    assert copies_to_keep(made) == set(made[1:])


@given(st.sets(MOMENTS))
def test_keeps_some_of_what_is_there_and_always_the_newest(made):
    kept = copies_to_keep(made)
    assert kept <= made
    assert not made or max(made) in kept


@given(st.sets(MOMENTS))
def test_every_month_keeps_one(made):
    months = {(one.year, one.month) for one in made}
    assert {(one.year, one.month) for one in copies_to_keep(made)} == months


@given(st.sets(MOMENTS))
def test_keeps_no_more_than_a_week_and_the_months(made):
    months = {(one.year, one.month) for one in made}
    assert len(copies_to_keep(made)) <= 7 + len(months)


@given(st.lists(MOMENTS, unique=True))
def test_pruning_every_night_keeps_what_pruning_once_keeps(made):
    there = set()
    for moment in sorted(made):
        there = copies_to_keep(there | {moment})
    assert there == copies_to_keep(made)


def test_keeping_nothing_is_refused():
    with pytest.raises(ValueError, match="days must be at least 1, got 0"):
        copies_to_keep([], days=0)


def at(*parts, zone=PRAGUE):
    return datetime(*parts, tzinfo=zone)


def test_the_planned_moment_is_of_today_or_of_yesterday():
    assert last_planned(at(2026, 6, 2, 2, 30), HALF_PAST_TWO) == at(2026, 6, 2, 2, 30)
    assert last_planned(at(2026, 6, 2, 2, 29), HALF_PAST_TWO) == at(2026, 6, 1, 2, 30)


def test_the_hour_that_is_left_out_in_spring_still_has_its_copy():
    # 29 March 2026: 02:00 becomes 03:00, at 01:00 UTC (European Union directive 2000/84/EC)
    assert last_planned(at(2026, 3, 29, 12), HALF_PAST_TWO).astimezone(UTC) == at(
        2026, 3, 29, 1, 30, zone=UTC
    )


def test_the_hour_that_comes_twice_in_autumn_has_one_copy():
    # 25 October 2026: 03:00 becomes 02:00, at 01:00 UTC
    made = at(2026, 10, 25, 0, 30, zone=UTC)
    second = at(2026, 10, 25, 2, 45).replace(fold=1)
    assert not is_copy_due(second, at=HALF_PAST_TWO, made_at=made, tried_at=made)


def test_a_moment_without_a_zone_is_refused():
    with pytest.raises(ValueError, match="time zone"):
        last_planned(datetime(2026, 6, 2), HALF_PAST_TWO)


NOON = at(2026, 6, 2, 12)


@pytest.mark.parametrize(
    ("made_hours_ago", "tried_hours_ago", "is_due"),
    [
        (None, None, True),  # a new book
        (9, 9, False),  # made at 03:00
        (10, 10, True),  # made at 02:00, before the planned moment
        (30, 30, True),  # the laptop was off at night
        (30, 0.5, False),  # failed half an hour ago
        (30, 1.5, True),  # failed longer ago: again
        (None, 0.5, False),
        (-48, -48, True),  # the clock had been two days ahead
    ],
)
def test_a_copy_is_due_once_the_planned_moment_went_by_without_one(made_hours_ago, tried_hours_ago, is_due):
    made, tried = (
        None if hours is None else NOON - timedelta(hours=hours)
        for hours in (made_hours_ago, tried_hours_ago)
    )
    assert is_copy_due(NOON, at=HALF_PAST_TWO, made_at=made, tried_at=tried) is is_due


@given(st.dates(date(2026, 1, 1), date(2027, 12, 31)), st.times())
def test_every_day_has_one_planned_moment(day, planned_at):
    end = datetime.combine(day, time(23, 59, 59, 999_999), PRAGUE)
    assert last_planned(end, planned_at).date() == day
