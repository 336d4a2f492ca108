"""What came to a place and left it, the last first: one line for each act, however many flats it moved."""

from dataclasses import dataclass
from datetime import datetime
from heapq import merge
from itertools import islice
from typing import Any

from django.db.models import Count, F, Max, Min, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from nursery.calc.codes import spoken
from nursery.models import Account, Place, PlaceMove, Stage, StageMove, Worker

LINES_PER_PAGE = 50


@dataclass(frozen=True, slots=True)
class Passing:
    """Something came (``is_in``) or went. ``code`` is the flat's, or the place's, if it was a single one."""

    at: datetime
    is_in: bool
    what: str
    code: str
    where: str
    stage: str
    who: str
    reason: str
    is_over: bool


@dataclass(frozen=True, slots=True)
class Story:
    lines: list[Passing]
    page: int
    has_more: bool


def story_of(place: Place, page: int = 1) -> Story:
    """Return one page of what came and went, in a fixed number of queries."""
    most = LINES_PER_PAGE * page + 1
    sources = [
        (_flats_in(place), True),
        (_flats_out(place), False),
        (_places_in(place), True),
        (_places_out(place), False),
    ]
    told = [[{**row, "is_in": is_in} for row in rows[:most]] for rows, is_in in sources]
    rows = list(islice(merge(*told, key=lambda row: row["last"], reverse=True), most))
    shown = rows[LINES_PER_PAGE * (page - 1) : LINES_PER_PAGE * page]
    return Story(_lines(shown), page, has_more=len(rows) == most)


def _before(rows: QuerySet[Any], owner: str, column: str) -> Subquery:
    """Return what the move before this one, of the same flat or place, said in ``column``."""
    earlier = rows.filter(**{owner: OuterRef(owner)})
    earlier = earlier.filter(Q(at__lt=OuterRef("at")) | Q(at=OuterRef("at"), pk__lt=OuterRef("pk")))
    return Subquery(earlier.order_by("-at", "-pk").values(column)[:1])


def _by_act(moves: QuerySet[Any], other: str) -> QuerySet[Any]:
    """Join the moves of one act to one row; ``other`` names the place at the other end."""
    rows = moves.order_by().values(key=Coalesce("act", "uuid"))
    return rows.annotate(
        last=Max("at"),
        number=Count("pk"),
        flat_code=Min("flat__code"),
        first_other=Min(other),
        last_other=Max(other),
        said_others=Count(other),
        first_stage=Min("stage"),
        last_stage=Max("stage"),
        worker=Max("by_worker"),
        account=Max("sent_by"),
        told=Max("reason"),
        over=Count("pk", filter=Q(is_over_capacity=True)),
    ).order_by("-last")


def _flats_in(place: Place) -> QuerySet[Any]:
    moves = StageMove.objects.standing()
    came = moves.filter(place=place).annotate(came_from=_before(moves, "flat", "place"))
    came = came.filter(Q(came_from__isnull=True) | ~Q(came_from=place.pk))
    return _by_act(came, "came_from")


def _flats_out(place: Place) -> QuerySet[Any]:
    moves = StageMove.objects.standing()
    ever = StageMove.objects.filter(place=place).values("flat")
    went = moves.filter(flat__in=ever).filter(Q(place__isnull=True) | ~Q(place=place))
    went = went.annotate(came_from=_before(moves, "flat", "place")).filter(came_from=place.pk)
    return _by_act(went, "place")


def _columns(moves: QuerySet[Any], other: str) -> QuerySet[Any]:
    rows = moves.order_by("-at", "-pk")
    return rows.values(
        last=F("at"), moved=F("place"), first_other=F(other), worker=F("by_worker"), account=F("sent_by")
    )


def _places_in(place: Place) -> QuerySet[Any]:
    moves = PlaceMove.objects.standing()
    came = moves.filter(
        stands_in=place, act__isnull=False
    )  # without an act it stood there from the beginning
    return _columns(came.annotate(came_from=_before(moves, "place", "stands_in")), "came_from")


def _places_out(place: Place) -> QuerySet[Any]:
    moves = PlaceMove.objects.standing()
    went = moves.annotate(came_from=_before(moves, "place", "stands_in")).filter(came_from=place.pk)
    return _columns(went, "stands_in")


def _lines(rows: list[dict[str, Any]]) -> list[Passing]:
    """Name what stands in the rows of one page."""
    ends = {row[name] for row in rows for name in ("first_other", "moved") if row.get(name)}
    places = Place.objects.in_bulk(ends)
    workers = Worker.objects.in_bulk({row["worker"] for row in rows if row["worker"]})
    accounts = Account.objects.in_bulk({row["account"] for row in rows if row["account"]})
    return [
        Passing(
            at=row["last"],
            is_in=row["is_in"],
            what=_what(row, places),
            code=_code(row, places),
            where=_where(row, places),
            stage=_stage(row),
            who=str(workers.get(row["worker"]) or accounts.get(row["account"]) or ""),
            reason=row.get("told", ""),
            is_over=bool(row.get("over")),
        )
        for row in rows
    ]


def _what(row: dict[str, Any], places: dict[int, Place]) -> str:
    if "moved" in row:
        return places[row["moved"]].name
    if row["number"] == 1:
        return spoken(row["flat_code"])
    return ngettext("%d flat", "%d flats", row["number"]) % row["number"]


def _code(row: dict[str, Any], places: dict[int, Place]) -> str:
    if "moved" in row:
        return places[row["moved"]].code
    return row["flat_code"] if row["number"] == 1 else ""


def _where(row: dict[str, Any], places: dict[int, Place]) -> str:
    """Name the place at the other end; nothing where nobody said one."""
    if not row["first_other"]:
        return ""
    if row.get("last_other", row["first_other"]) != row["first_other"] or (
        "number" in row and row["said_others"] < row["number"]
    ):
        return _("several places")
    return places[row["first_other"]].name


def _stage(row: dict[str, Any]) -> str:
    if row.get("first_stage") is None or row["first_stage"] != row["last_stage"]:
        return ""
    return str(Stage(row["first_stage"]).label)
