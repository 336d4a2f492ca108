"""Where something can be moved: the places as cards, those moved to last first, each with its free room."""

from collections.abc import Mapping
from dataclasses import dataclass

from django.db.models import Max
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from nursery.actions.moves import coming_of
from nursery.actions.yard import Yard
from nursery.models import Place, PlaceMove, StageMove
from nursery.views.chosen import Chosen

RECENT_SHOWN = 3


@dataclass(frozen=True, slots=True)
class Target:
    """A place as a card. ``too_many`` flats more would come than it, or a place around it, has room for."""

    place: Place
    where: str
    room: str
    too_many: int
    is_here: bool


@dataclass(frozen=True, slots=True)
class Targets:
    recent: list[Target]
    others: list[Target]


def targets_of(chosen: Chosen) -> Targets:
    """Return the cards for what was chosen, in a fixed number of queries, none that makes a circle."""
    yard = Yard.read()
    coming = coming_of(chosen.load, chosen.sorted.free, yard)
    no_goal = {chosen.content_of.pk} if chosen.content_of else set()
    for place in chosen.load.places if chosen.is_place else ():
        no_goal |= {place.pk, *(inner.pk for inner in yard.inside(place))}
    here = _stands_in(chosen, coming)
    cards = {
        place.pk: _target(place, yard, coming, is_here=place.pk in here)
        for place in yard.places.values()
        if place.pk not in no_goal
    }
    recent = [pk for pk in recent_places() if pk in cards and not cards[pk].is_here][:RECENT_SHOWN]
    return Targets([cards.pop(pk) for pk in recent], list(cards.values()))


def room_said(place: Place, yard: Yard) -> str:
    """Say how much room a place has: "12 of 40 free", or how many stand there where it has no bounds."""
    flats = yard.flats_in(place)
    if place.capacity_flats is None:
        return ngettext("%d flat", "%d flats", flats) % flats if flats else _("empty")
    free = place.capacity_flats - flats
    if free < 0:
        return ngettext("%d too many", "%d too many", -free) % -free
    return _("%(free)d of %(room)d free") % {"free": free, "room": place.capacity_flats}


def recent_places() -> list[int]:
    """Return the places that something was moved to, the last first."""
    last: dict[int, object] = {}
    for rows, name in ((StageMove.objects, "place"), (PlaceMove.objects, "stands_in")):
        moved = rows.filter(act__isnull=False, **{f"{name}__isnull": False}).order_by()
        for pk, at in moved.values_list(name).annotate(Max("received_at")):
            last[pk] = max(last.get(pk, at), at)
    return sorted(last, key=lambda pk: last[pk], reverse=True)


def _stands_in(chosen: Chosen, coming: Mapping[int | None, int]) -> set[int | None]:
    """Return the place in which all of it stands now."""
    if chosen.is_place:
        return {place.stands_in_id for place in chosen.load.places}
    return set(coming) if len(coming) == 1 and not chosen.load.places else set()


def _target(place: Place, yard: Yard, coming: Mapping[int | None, int], *, is_here: bool) -> Target:
    excess = yard.excess(place, coming)
    return Target(
        place=place,
        where=yard.said(place.stands_in_id),
        room=room_said(place, yard),
        too_many=max((one.too_many for one in excess), default=0),
        is_here=is_here,
    )
