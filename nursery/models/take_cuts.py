"""How grafts are divided for a take: by pairing, by grafter, by where they healed, and so on.

A cut says of each run in which row it falls. Where that may be unknown, "not recorded" is a row of its own;
a run with plants of several seed lots on a side is in the row "mixed" of that side.

The place of a flat is the first it came to after the bench, in the chamber or later: where it healed. A flat
that came on a trolley healed where the trolley stood at that moment, if that is recorded; else the trolley
itself is the row. Moves that were taken back are not looked at.
"""

from abc import ABC, abstractmethod
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from django.db.models import BigIntegerField, Case, F, Max, Min, OuterRef, Q, Subquery, Value, When
from django.db.models.functions import Coalesce
from django.db.models.lookups import Exact, IsNull

from nursery.models.bench import Run, RunSowing
from nursery.models.flat import Stage, StageMove
from nursery.models.place import Place, PlaceMove

# What tells a row: the key of a pairing, of one or two grafters; a method; "mixed"; nothing if not recorded.
RowKey = tuple[int | str, ...]
NOT_RECORDED: RowKey = ()
MIXED: RowKey = ("mixed",)
_SEVERAL_LOTS = -1
_KEY = BigIntegerField()
HEALING_STAGES = [Stage.CHAMBER, Stage.ACCLIMATION, Stage.GROWING_ON]


class TakeBy(StrEnum):
    PAIRING = "pairing"
    METHOD = "method"
    SCION_LOT = "scion_lot"
    ROOTSTOCK_LOT = "rootstock_lot"
    SESSION = "session"
    PLACE = "place"
    ROOTS = "roots"
    GRAFTER = "grafter"


@dataclass(frozen=True, slots=True)
class Path:
    """How to get from the rows of a table to the run they are about."""

    run: str
    run_key: str
    flat: str
    pairing: str


COUNTS = Path(run="run__", run_key="run_id", flat="flat_id", pairing="pairing_id")
RUNS = Path(run="", run_key="pk", flat="flat_id", pairing="pairing_id")
GRADES = Path(run="run__", run_key="run_id", flat="run__flat_id", pairing="run__pairing_id")


class Cut:
    """A column of the run that divides the grafts."""

    def __init__(self, column: str, *, missing: str | None = None) -> None:
        self._column, self._missing = column, missing

    def parts(self, path: Path) -> list[Any]:
        """Return the expressions that together say in which row a run falls."""
        return [F(path.run + self._column)]

    def key(self, values: tuple[Any, ...]) -> RowKey:
        """Return the row of the values of ``parts``."""
        return NOT_RECORDED if values[0] in (None, self._missing) else (values[0],)

    def condition(self, path: Path, key: RowKey) -> Any:
        """Return what a run of this row fulfils."""
        column = path.run + self._column
        if key != NOT_RECORDED:
            return Q(**{column: key[0]})
        return Q(**{f"{column}__isnull": True}) if self._missing is None else Q(**{column: self._missing})


class PairingCut(Cut):
    def __init__(self) -> None:
        super().__init__("pairing_id")

    def parts(self, path: Path) -> list[Any]:
        return [F(path.pairing)]

    def condition(self, path: Path, key: RowKey) -> Any:
        return Q(**{path.pairing: key[0]})


class GrafterCut(Cut):
    """A pair is a row of its own, whoever of the two was named first."""

    def __init__(self) -> None:
        super().__init__("worker_id")

    def parts(self, path: Path) -> list[Any]:
        first, second = F(path.run + "worker_id"), F(path.run + "second_worker_id")
        in_order = Q(**{path.run + "worker__lt": second})
        alone = Q(**{path.run + "second_worker__isnull": True})
        return [
            Case(When(alone | in_order, then=first), default=second),
            Case(When(alone | in_order, then=second), default=first),
        ]

    def key(self, values: tuple[Any, ...]) -> RowKey:
        return tuple(value for value in values if value is not None)

    def condition(self, path: Path, key: RowKey) -> Any:
        first, second = path.run + "worker", path.run + "second_worker"
        if len(key) < 2:
            return Q(**{first: key[0] if key else None, second: None})
        return Q(**{first: key[0], second: key[1]}) | Q(**{first: key[1], second: key[0]})


class DerivedCut(Cut, ABC):
    """A row that one expression says, of what stands beside the run."""

    def __init__(self) -> None:
        super().__init__("")

    @abstractmethod
    def expression(self, path: Path) -> Any:
        """Return what says the row of a run."""

    def parts(self, path: Path) -> list[Any]:
        return [self.expression(path)]

    def key(self, values: tuple[Any, ...]) -> RowKey:
        if values[0] is None:
            return NOT_RECORDED
        return MIXED if values[0] == _SEVERAL_LOTS else (values[0],)

    def condition(self, path: Path, key: RowKey) -> Any:
        expression = self.expression(path)
        if key == NOT_RECORDED:
            return IsNull(expression, True)
        return Exact(expression, Value(_SEVERAL_LOTS if key == MIXED else key[0]))


class LotCut(DerivedCut):
    """The seed lot of one side; several lots are mixed."""

    def __init__(self, side: str) -> None:
        super().__init__()
        self._side = side

    def expression(self, path: Path) -> Any:
        lots = RunSowing.objects.filter(run=OuterRef(path.run_key), side=self._side).order_by()
        ends = lots.values("run").annotate(lowest=Min("sowing__lot"), highest=Max("sowing__lot"))
        one = Case(
            When(lowest=F("highest"), then=F("lowest")), default=Value(_SEVERAL_LOTS), output_field=_KEY
        )
        return Subquery(ends.annotate(lot=one).values("lot"))


class PlaceCut(DerivedCut):
    def expression(self, path: Path) -> Any:
        moves = StageMove.objects.standing().filter(
            flat=OuterRef(path.flat), stage__in=HEALING_STAGES, place__isnull=False
        )
        came = PlaceMove.objects.standing().filter(place=OuterRef("place"), at__lte=OuterRef("at"))
        stood_in = Subquery(came.order_by("-at", "-id").values("stands_in")[:1])
        healed_in = Case(
            When(place__kind=Place.Kind.TROLLEY, then=Coalesce(stood_in, F("place_id"), output_field=_KEY)),
            default=F("place_id"),
            output_field=_KEY,
        )
        return Subquery(moves.annotate(healed_in=healed_in).order_by("at", "id").values("healed_in")[:1])


CUTS: dict[TakeBy, Cut] = {
    TakeBy.PAIRING: PairingCut(),
    TakeBy.METHOD: Cut("method"),
    TakeBy.SCION_LOT: LotCut(RunSowing.Side.SCION),
    TakeBy.ROOTSTOCK_LOT: LotCut(RunSowing.Side.ROOTSTOCK),
    TakeBy.SESSION: Cut("session_id"),
    TakeBy.PLACE: PlaceCut(),
    TakeBy.ROOTS: Cut("roots", missing=Run.Roots.UNKNOWN),
    TakeBy.GRAFTER: GrafterCut(),
}
