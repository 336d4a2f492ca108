"""Where a flat stood: place within place, from when to when, also while a trolley was moved under it."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime

from nursery.actions.yard import said_in_each_other
from nursery.calc.stays import Arrival, Settling, Stay, stays
from nursery.models import Event, Flat, Place, PlaceMove, StageMove


@dataclass(frozen=True, slots=True)
class StayLine:
    """A stretch of time in one place and stage. ``with_place`` is the trolley that took the flat along."""

    move: StageMove
    since: datetime
    until: datetime | None
    stage: str
    where: str
    who: str
    with_place: str = ""
    reason: str = ""
    is_loss: bool = False
    is_over: bool = False


def stays_of(flat: Flat) -> list[StayLine]:
    """Return where a flat stood, the first stay first; a query more for each place around the places."""
    named = ("place", "by_worker", "sent_by")
    moves = list(flat.moves.standing().select_related(*named).order_by("at", "pk"))
    settlings, pushes, names = _settlings(move.place for move in moves)
    found = stays([Arrival(move.at, move.place_id) for move in moves], settlings)
    return [_line(stay, moves[stay.arrival], pushes, names) for stay in found]


def _settlings(
    places: Iterable[Place | None],
) -> tuple[dict[int, list[Settling]], dict[tuple[int, datetime], PlaceMove], dict[int, str]]:
    """Return how these places and those around them stood in each other, who moved them, and their names.

    A place that was never moved stands where its record says, since ever.
    """
    settlings: dict[int, list[Settling]] = defaultdict(list)
    pushes: dict[tuple[int, datetime], PlaceMove] = {}
    names: dict[int, str] = {}
    level = {place.pk: place for place in places if place}
    while level:
        names |= {pk: place.name for pk, place in level.items()}
        around: set[int] = set()
        moves = PlaceMove.objects.standing().filter(place__in=level).select_related("by_worker", "sent_by")
        for move in moves.order_by("at", "pk"):
            settlings[move.place_id].append((move.at, move.stands_in_id))
            pushes[move.place_id, move.at] = move
        for pk, place in level.items():
            if pk not in settlings and place.stands_in_id:
                settlings[pk] = [(datetime.min.replace(tzinfo=UTC), place.stands_in_id)]
            around |= {into for _at, into in settlings.get(pk, ()) if into}
        level = Place.objects.in_bulk(around - names.keys()) if around - names.keys() else {}
    return settlings, pushes, names


def _line(
    stay: Stay, move: StageMove, pushes: dict[tuple[int, datetime], PlaceMove], names: dict[int, str]
) -> StayLine:
    push = pushes[stay.mover, stay.since] if stay.mover else None
    return StayLine(
        move=move,
        since=stay.since,
        until=stay.until,
        stage=str(move.get_stage_display()),
        where=said_in_each_other([names[pk] for pk in stay.chain]),
        who=who_said(push or move),
        with_place=names[stay.mover] if stay.mover else "",
        reason="" if push else move.reason,
        is_loss=move.is_loss,
        is_over=move.is_over_capacity and not push,
    )


def who_said(event: Event) -> str:
    """Name who did something: the worker, else the login."""
    return str(event.by_worker or event.sent_by or "")
