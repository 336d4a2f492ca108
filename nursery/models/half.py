"""Which flats were seen in part only on a day, so that somebody goes on with them.

A check begun and not closed, or closed after part of the flat, and no look at the rest since.
"""

from dataclasses import dataclass
from datetime import date

from django.db.models import F, Sum

from nursery.models.check import Check, DayCount
from nursery.models.flat import Flat


@dataclass(frozen=True, slots=True)
class HalfSeen:
    """A flat of which ``seen`` of ``plants`` were seen; ``check`` is the look to go on with or after."""

    flat: Flat
    check: Check
    seen: int
    plants: int

    @property
    def is_open(self) -> bool:
        return not self.check.is_closed


def half_seen(day: date, flat: Flat | None = None) -> list[HalfSeen]:
    """Return the flats (or the one) seen in part on ``day``, the check begun first coming first."""
    looks = Check.objects.standing().filter(day=day, leaving=None).exclude(kind=Check.Kind.NUMBERS)
    if flat is not None:
        looks = looks.filter(flat=flat)
    by_flat: dict[int, list[Check]] = {}
    for look in looks.select_related("flat", "by_worker", "sent_by").order_by("opened_at", "pk"):
        by_flat.setdefault(look.flat_id, []).append(look)
    halves = {pk: check for pk, checks in by_flat.items() if (check := _half(checks)) is not None}
    counts = DayCount.objects.filter(flat__in=halves, day=day).order_by().values("flat")
    sums = counts.annotate(all_seen=Sum("seen"), plants=Sum("grafted")).filter(all_seen__lt=F("plants"))
    return [
        HalfSeen(halves[row["flat"]].flat, halves[row["flat"]], row["all_seen"], row["plants"])
        for row in sorted(sums, key=lambda row: list(halves).index(row["flat"]))
    ]


def _half(checks: list[Check]) -> Check | None:
    """Return the check to go on with: one still open, else the last; None if the whole flat was seen."""
    if any(check.is_closed and check.kind == Check.Kind.WHOLE for check in checks):
        return None
    still_open = [check for check in checks if not check.is_closed]
    return (still_open or checks)[-1]
