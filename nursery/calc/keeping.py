"""Which copies of the book to keep, and when the next one is due.

**Keeping.** Of the copies made on one day only the newest counts. The days of the last seven copies are
kept, and of every month the newest one. So a week can be gone back day by day, and the years month by
month; pressing "Make a copy now" ten times in an hour pushes no day out. Example: copies of 31 January and of
1, 2, ... 10 February: kept are 4 to 10 February (seven days) and 31 January (the newest of its month).

**When.** One moment a day, 02:30 on the farm's clock unless set otherwise. A laptop is off at that hour: a
copy is due as soon as the last planned moment has gone by without one. After a failure it is tried again an
hour later.

Source: common practice, no source.
"""

from collections.abc import Iterable
from datetime import UTC, datetime, time, timedelta

DAYS_KEPT = 7
TRY_AGAIN_AFTER = timedelta(hours=1)
# A clock that was wrong may have dated a copy in the future; it would keep the next one waiting for ever.
CLOCK_SLIP = timedelta(hours=1)


def copies_to_keep(made_at: Iterable[datetime], *, days: int = DAYS_KEPT) -> set[datetime]:
    """Return the moments of the copies to keep.

    Parameters
    ----------
    made_at : iterable of datetime
        When the copies were made, on the farm's clock: all aware in one zone, or all naive.
    days : int
        How many days that have a copy are kept; at least 1.

    Returns
    -------
    set of datetime
        A part of ``made_at``; never empty unless that is.

    Raises
    ------
    ValueError
        If ``days`` is less than 1.
    """
    if days < 1:
        raise ValueError(f"days must be at least 1, got {days}")
    newest_of_day: dict[tuple[int, int, int], datetime] = {}
    for moment in sorted(made_at):
        newest_of_day[moment.year, moment.month, moment.day] = moment
    in_order = [newest_of_day[day] for day in sorted(newest_of_day)]
    newest_of_month = {(moment.year, moment.month): moment for moment in in_order}
    return {*in_order[-days:], *newest_of_month.values()}


def last_planned(now: datetime, at: time) -> datetime:
    """Return the last moment at or before ``now`` at which a copy was planned.

    Parameters
    ----------
    now : datetime
        Aware, in the farm's zone.
    at : time
        Naive, on the farm's clock. In the night in which clocks go forward an hour that is left out means
        the same stretch after midnight; in the night in which they go back it means the first of the two.

    Raises
    ------
    ValueError
        If ``now`` has no zone.
    """
    if now.tzinfo is None:
        raise ValueError("now must have a time zone")
    planned = datetime.combine(now.date(), at, now.tzinfo)
    # Compared in UTC: within one zone Python compares what the clocks show.
    if planned.astimezone(UTC) > now.astimezone(UTC):
        planned = datetime.combine(now.date() - timedelta(days=1), at, now.tzinfo)
    return planned


def is_copy_due(now: datetime, *, at: time, made_at: datetime | None, tried_at: datetime | None) -> bool:
    """True if a copy should be made now.

    Parameters
    ----------
    now : datetime
        Aware, in the farm's zone.
    at : time
        When a copy is planned every day, on the farm's clock.
    made_at, tried_at : datetime or None
        Aware; the last copy that was made, and the last try, made or failed. None if there was none.
    """
    planned = last_planned(now, at).astimezone(UTC)
    moment = now.astimezone(UTC)
    if made_at is not None and planned <= made_at <= moment + CLOCK_SLIP:
        return False
    if tried_at is None or tried_at > moment + CLOCK_SLIP:
        return True
    return tried_at < planned or moment - tried_at >= TRY_AGAIN_AFTER
