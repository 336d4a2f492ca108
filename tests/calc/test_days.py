"""Record day, early leaving, the farm's date and the corrected clock."""

from datetime import UTC, date, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nursery.calc.days import corrected_instant, is_early_leaving, local_date, record_day_on

GRAFTED = date(2026, 3, 3)


def test_the_record_comes_a_fortnight_after_grafting():
    assert record_day_on(GRAFTED) == date(2026, 3, 17)


def test_a_pairing_may_have_its_own_record_day():
    assert record_day_on(date(2024, 2, 20), 21) == date(2024, 3, 12)  # across a leap day
    assert record_day_on(GRAFTED, 0) == GRAFTED


def test_refuses_a_record_before_the_grafting():
    with pytest.raises(ValueError, match="record_days must be at least 0, got -1"):
        record_day_on(GRAFTED, -1)


@pytest.mark.parametrize(("day", "early"), [(-1, True), (0, True), (6, True), (7, False), (12, False)])
def test_leaving_before_day_7_is_early(day, early):
    assert is_early_leaving(GRAFTED, GRAFTED + timedelta(days=day)) is early


@pytest.mark.parametrize(
    ("zone", "expected"),
    [
        ("UTC", date(2026, 3, 3)),
        ("Europe/Prague", date(2026, 3, 4)),
        ("America/New_York", date(2026, 3, 3)),
        ("Pacific/Auckland", date(2026, 3, 4)),
    ],
)
def test_the_day_is_the_farm_s_day(zone, expected):
    assert local_date(datetime(2026, 3, 3, 23, 30, tzinfo=UTC), zone) == expected


def test_the_day_follows_summer_time():
    # Source: EU summer time began on 29 March 2026 at 01:00 UTC; Prague is UTC+1 before and UTC+2 after.
    assert local_date(datetime(2026, 3, 28, 22, 30, tzinfo=UTC), "Europe/Prague") == date(2026, 3, 28)
    assert local_date(datetime(2026, 3, 29, 22, 30, tzinfo=UTC), "Europe/Prague") == date(2026, 3, 30)


@pytest.mark.parametrize("zone", ["Nowhere/Atall", "", "../etc/passwd"])
def test_refuses_an_unknown_zone(zone):
    with pytest.raises(ValueError):
        local_date(datetime(2026, 3, 3, tzinfo=UTC), zone)


def test_refuses_an_instant_without_zone():
    with pytest.raises(ValueError, match="instant_utc must have a time zone"):
        local_date(datetime(2026, 3, 3), "UTC")


def test_the_worked_example_of_the_module_holds():
    tapped, sent, received = (datetime(2026, 3, 3, 8, minute, tzinfo=UTC) for minute in (0, 10, 16))
    assert corrected_instant(tapped, sent, received) == datetime(2026, 3, 3, 8, 6, tzinfo=UTC)


@given(
    st.datetimes(datetime(2020, 1, 1), datetime(2040, 1, 1), timezones=st.just(UTC)),
    st.timedeltas(timedelta(0), timedelta(days=9)),
    st.timedeltas(timedelta(days=-4000), timedelta(days=4000)),
)
def test_any_error_of_the_clock_is_taken_out(true, waited, skew):
    assert corrected_instant(true + skew, true + waited + skew, true + waited) == true


def test_zones_of_device_and_server_may_differ():
    east = timezone(timedelta(hours=5))
    tapped = datetime(2026, 3, 3, 13, 0, tzinfo=east)
    sent = datetime(2026, 3, 3, 13, 10, tzinfo=east)
    received = datetime(2026, 3, 3, 8, 10, tzinfo=UTC)
    assert corrected_instant(tapped, sent, received) == datetime(2026, 3, 3, 8, 0, tzinfo=UTC)


@pytest.mark.parametrize("naive", [0, 1, 2])
def test_refuses_times_without_zone(naive):
    times = [datetime(2026, 3, 3, tzinfo=UTC)] * 3
    times[naive] = datetime(2026, 3, 3)
    name = ("raw", "device_sent", "received")[naive]
    with pytest.raises(ValueError, match=f"{name} must have a time zone"):
        corrected_instant(*times)


def test_a_clock_beyond_the_calendar_is_refused():
    first, last = datetime(1, 1, 1, tzinfo=UTC), datetime(9999, 12, 31, tzinfo=UTC)
    with pytest.raises(ValueError, match="raw cannot be corrected"):
        corrected_instant(last, first, last)
    with pytest.raises(ValueError, match="no date for"):
        local_date(first, "America/New_York")
