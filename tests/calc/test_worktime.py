"""Work is time less pauses; the sums are counted out by hand."""

from datetime import UTC, datetime, timedelta

from nursery.calc.worktime import worked_time


def at(hour, minute=0):
    return datetime(2026, 3, 2, hour, minute, tzinfo=UTC)


def test_takes_the_pauses_out():
    pauses = [(at(10), at(10, 15)), (at(11), at(11, 5))]
    assert worked_time(at(8), at(12, 30), pauses) == timedelta(hours=4, minutes=10)


def test_counts_a_pause_only_where_it_overlaps():
    assert worked_time(at(8), at(9), [(at(8, 50), at(9, 30)), (at(7), at(8, 10))]) == timedelta(minutes=40)


def test_a_pause_outside_counts_for_nothing():
    assert worked_time(at(8), at(9), [(at(10), at(11)), (at(6), at(7))]) == timedelta(hours=1)


def test_a_pause_that_lasts_stops_the_clock():
    assert worked_time(at(8), at(13), [(at(12), None)]) == timedelta(hours=4)


def test_is_never_below_zero():
    assert worked_time(at(9), at(8), []) == timedelta()
    assert worked_time(at(8), at(9), [(at(7), at(10))]) == timedelta()
