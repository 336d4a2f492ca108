"""The date rules of a run, and the corrected time of a mark.

Record day. A graft is judged a fortnight after it was made: the union is healed then, and later losses
have other causes. Grafted on 3 March with 14 record days: the first count on or after 17 March is the
record. A pairing may have another number; after tongue approach the days run from the day of severing.

Early leaving. A plant that leaves the flat alive (sold, moved, taken as a sample) on day 7 or later has
shown that it took. One that left sooner has shown nothing and is not counted. Grafted on 3 March: gone on
9 March (day 6) is early, gone on 10 March (day 7) is not.

Corrected time. Clocks of tablets run wrong. With every batch a tablet sends the time on its own clock, and
the server notes its own on arrival. The difference is added to each time in the batch. A tablet six minutes
slow taps at 08:00 and sends at 08:10; the server receives at 08:16; the tap is put at 08:06. The time in
transit, seconds at most, counts as part of the clock's error.

The day of a check is the date on the farm's calendar at its corrected time: 23:30 UTC on 3 March is 4 March
in Prague.

Sources: record after 14 days, Washington State University Extension FS051E (union healed 14 days after
grafting); day 7, counts at day 7 and day 14 in Bantis et al. (2020). Day 7 as the border of "left early"
is our convention. The zones are those of the IANA time zone database.
"""

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

RECORD_DAYS = 14
PROVEN_FROM_DAY = 7


def record_day_on(grafted_on: date, record_days: int = RECORD_DAYS) -> date:
    """Return the first day whose count may be the record of a run.

    Parameters
    ----------
    grafted_on : date
        Day of grafting; for tongue approach the day of severing.
    record_days : int
        Days from there to the record; at least 0.

    Raises
    ------
    ValueError
        If record_days is negative.

    Source
    ------
    Washington State University Extension FS051E: union healed 14 days after grafting.
    """
    if record_days < 0:
        raise ValueError(f"record_days must be at least 0, got {record_days}")
    return grafted_on + timedelta(days=record_days)


def is_early_leaving(grafted_on: date, gone_on: date) -> bool:
    """Return whether a plant left alive before day 7, and so leaves the denominator of the take.

    A day before the grafting, from a wrong clock or a corrected date, is early as well.

    Source
    ------
    Our convention; day 7 is the first of the two usual counts (Bantis et al. 2020).
    """
    return (gone_on - grafted_on).days < PROVEN_FROM_DAY


def local_date(instant_utc: datetime, zone_name: str) -> date:
    """Return the calendar date in a time zone.

    Parameters
    ----------
    instant_utc : datetime
        With a time zone, usually UTC.
    zone_name : str
        Name in the IANA time zone database, such as "Europe/Prague".

    Raises
    ------
    ValueError
        If the instant has no time zone, the zone is unknown, or the date lies outside the years 1 to 9999.
    """
    _check_aware(instant_utc=instant_utc)
    try:
        return instant_utc.astimezone(ZoneInfo(zone_name)).date()
    except (ZoneInfoNotFoundError, OverflowError) as error:
        raise ValueError(f"no date for {instant_utc.isoformat()} in zone {zone_name!r}") from error


def corrected_instant(raw: datetime, device_sent: datetime, received: datetime) -> datetime:
    """Return the time of an event with the error of the device's clock taken out.

    Parameters
    ----------
    raw : datetime
        Time of the event on the device's clock; with a time zone.
    device_sent : datetime
        Time of sending on the same clock; with a time zone.
    received : datetime
        Time of arrival on the server's clock; with a time zone.

    Returns
    -------
    datetime
        raw + (received - device_sent), in the zone of raw.

    Raises
    ------
    ValueError
        If one has no time zone or the result lies outside the years 1 to 9999.

    Source
    ------
    Arithmetic.
    """
    _check_aware(raw=raw, device_sent=device_sent, received=received)
    try:
        return raw + (received - device_sent)
    except OverflowError as error:
        raise ValueError(f"raw cannot be corrected, got {raw.isoformat()}") from error


def _check_aware(**instants: datetime) -> None:
    for name, instant in instants.items():
        if instant.utcoffset() is None:
            raise ValueError(f"{name} must have a time zone, got {instant.isoformat()}")
