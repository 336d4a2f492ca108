"""The flats that somebody may walk along in a round: those in which plants stand, and where each stands."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db.models import Exists, OuterRef, Q, QuerySet, Subquery

from nursery.models.bench import Cell, Run, Session
from nursery.models.due import due_runs
from nursery.models.flat import LEFT_STAGES, Flat, standing_moves
from nursery.models.place import Place


@dataclass(frozen=True, slots=True)
class Stop:
    """A flat of a round. ``grafted_on`` and ``begun_at`` are of the first graft in it."""

    flat_id: int
    code: str
    is_pooled: bool
    place_id: int | None
    grafted_on: date | None
    begun_at: datetime | None


def flats_of_round(
    *, places: Iterable[Place] | None = None, session: Session | None = None, stage: str = ""
) -> QuerySet[Flat]:
    """Return the flats (with their stage) that are still here, narrowed by what is given."""
    flats = Flat.objects.kept().with_stage()
    if places is not None:
        flats = flats.standing_in(places)
    if session is not None:
        flats = flats.filter(Exists(Run.objects.filter(flat=OuterRef("pk"), session=session)))
    if stage:
        flats = flats.filter(stage=stage)
    planted = Q(is_pooled=True) | Exists(Cell.objects.filter(flat=OuterRef("pk"), is_present=True))
    return flats.filter(planted).filter(Q(stage__isnull=True) | ~Q(stage__in=LEFT_STAGES))


def due_among(flats: QuerySet[Flat], today: date, *, half: Iterable[int]) -> QuerySet[Flat]:
    """Keep the flats that are due for a check ``today``, and those seen in part (``half``, their keys)."""
    return flats.filter(Q(pk__in=due_runs(today).order_by().values("flat")) | Q(pk__in=list(half)))


def stops_of(flats: QuerySet[Flat]) -> list[Stop]:
    """Return the flats with what tells their place on the walk, in one query and in no order."""
    placed = flats.annotate(
        stands_at=Subquery(standing_moves(OuterRef("pk")).values("place")[:1]),
        first_day=_of_first_run("grafted_on"),
        first_at=_of_first_run("started_at"),
    )
    columns = ("pk", "code", "is_pooled", "stands_at", "first_day", "first_at")
    return [Stop(*row) for row in placed.order_by().values_list(*columns)]


def _of_first_run(column: str) -> Any:
    runs = Run.objects.filter(flat=OuterRef("pk"), is_regraft=False)
    return Subquery(runs.order_by("grafted_on", "number").values(column)[:1])
