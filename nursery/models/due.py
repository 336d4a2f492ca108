"""Which runs wait for a check on a day.

Two looks are expected: an early one from day 7 after grafting, and the one that makes the record, from the
record day of the pairing. The early one is done by any closed day since; the record by its flag alone, so
that a look at half a flat leaves it due. A run with nothing alive is final at once and has its record.
"""

from datetime import date, timedelta
from typing import Any

from django.db.models import (
    Case,
    CharField,
    DateField,
    DurationField,
    Exists,
    ExpressionWrapper,
    F,
    IntegerField,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    Value,
    When,
)
from django.db.models.functions import Cast, Coalesce

from nursery.calc.days import PROVEN_FROM_DAY
from nursery.models.bench import Run, Severing
from nursery.models.check import DayCount
from nursery.models.flat import LEFT_STAGES, Flat, standing_moves
from nursery.models.plant import Method

EARLY_LOOK_DAYS = PROVEN_FROM_DAY
# Nobody goes back to a flat older than this for a record: 90 days, the latest record day, and some delay.
OLDEST_DAYS = 120
EARLY, RECORD = "early", "record"


def due_runs(today: date) -> QuerySet[Run, Any]:
    """Return the runs due, longest waiting first, with ``due`` (EARLY or RECORD) and ``due_on``."""
    counts = DayCount.objects.filter(run=OuterRef("pk"))
    early_on = _days_after(F("grafted_on"), Value(timedelta(days=EARLY_LOOK_DAYS)))
    return (
        Run.objects.filter(
            flat__origin=Flat.Origin.MARKS,
            grafted_on__range=(today - timedelta(days=OLDEST_DAYS), today - timedelta(days=1)),
        )
        .exclude(Exists(counts.filter(is_record=True)))
        .annotate(
            flat_stage=Coalesce(Subquery(standing_moves(OuterRef("flat")).values("stage")[:1]), Value("")),
            early_on=early_on,
            record_on=_days_after(_record_counts_from(), _record_days()),
        )
        .exclude(flat_stage__in=LEFT_STAGES)
        .annotate(
            due=_what_is_due(today, counts),
            due_on=Case(When(due=RECORD, then="record_on"), default="early_on"),
        )
        .exclude(due="")
        .order_by("due_on", "flat_id", "number")
    )


def _what_is_due(today: date, counts: QuerySet[DayCount, Any]) -> Case:
    # A day on which plants only left is no look: nobody was seen alive.
    seen_since = Exists(counts.filter(is_closed=True, alive__gt=0, day__gte=OuterRef("early_on")))
    return Case(
        When(record_on__lte=today, then=Value(RECORD)),
        When(Q(early_on__lte=today) & ~seen_since, then=Value(EARLY)),
        default=Value(""),
        output_field=CharField(),
    )


def _record_counts_from() -> Case:
    """The day of grafting; for tongue approach the day of severing, and none before it."""
    severed = Severing.objects.standing().filter(run=OuterRef("pk")).order_by("severed_on")
    return Case(
        When(method=Method.TONGUE, then=Subquery(severed.values("severed_on")[:1])),
        default=F("grafted_on"),
        output_field=DateField(),
    )


def _record_days() -> ExpressionWrapper:
    day = Value(timedelta(days=1))
    days = Cast("pairing__record_days", IntegerField())
    return ExpressionWrapper(days * day, output_field=DurationField())


def _days_after(start: Any, days: Any) -> ExpressionWrapper:
    return ExpressionWrapper(start + days, output_field=DateField())
