"""How often a label was printed: where it was more than once, two of them may be about."""

from dataclasses import dataclass
from datetime import datetime

from django.db.models import Count, Max

from nursery.models import LabelPrint


@dataclass(frozen=True, slots=True)
class Prints:
    count: int
    last: datetime | None


def prints_of(code: str) -> Prints:
    """Return how often the label of a code was printed, and when last."""
    found = LabelPrint.objects.filter(code=code).aggregate(count=Count("pk"), last=Max("printed_at"))
    return Prints(found["count"], found["last"])
