"""Time at work: from beginning to end, less the pauses.

Lunch is no work. A session from 8:00 to 12:30 with a pause from 10:00 to 10:15 is 4 h 15 min of work. A
pause counts as far as it lies within the stretch that is asked about, so that the time of one flat is
shortened only by the pauses taken while it was on the bench.

Source: arithmetic.
"""

from collections.abc import Iterable
from datetime import datetime, timedelta


def worked_time(
    start: datetime, end: datetime, pauses: Iterable[tuple[datetime, datetime | None]]
) -> timedelta:
    """Return the time between two moments that was no pause.

    Parameters
    ----------
    start, end : datetime
        Beginning and end; an end before the start counts as no time.
    pauses : iterable of (datetime, datetime or None)
        Beginning and end of each pause; None while it lasts. They do not overlap one another.

    Returns
    -------
    timedelta
        At least zero.
    """
    idle = timedelta()
    for pause_start, pause_end in pauses:
        overlap = min(end, pause_end or end) - max(start, pause_start)
        idle += max(overlap, timedelta())
    return max(end - start - idle, timedelta())
