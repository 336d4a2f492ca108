"""The map of the places: nested boxes in the order of a walk, each with what stands in it since when."""

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from django.db.models import Count, Exists, Max, Min, OuterRef, Q
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from nursery.actions.yard import Yard, all_last_moves
from nursery.models import LEFT_STAGES, Flat, Place, Stage, standing_moves
from nursery.views.targets import room_said
from nursery.views.yard_drawing import DRAWN_MOST, draw_bar, draw_spots

STANDING = [stage for stage in Stage if stage not in LEFT_STAGES]


@dataclass(frozen=True, slots=True)
class Group:
    """The flats of one place at one stage."""

    stage: str
    number: int
    since: datetime
    first_grafted: date | None
    last_grafted: date | None

    @property
    def name(self) -> str:
        return str(Stage(self.stage).label)


@dataclass(slots=True)
class Box:
    """A place; ``flats`` counts those in the places inside it too, ``own`` those in the place itself."""

    place: Place
    where: str
    own: int
    flats: int
    room: str
    is_over: bool
    ages: str = ""
    groups: list[Group] = field(default_factory=list)
    inner: list["Box"] = field(default_factory=list)
    picture: SafeString | None = None

    @property
    def since(self) -> datetime | None:
        return min((group.since for group in self.groups), default=None)


@dataclass(frozen=True, slots=True)
class YardMap:
    boxes: list[Box]
    lines: list[Box]
    nowhere: list[Group]
    nowhere_ages: str
    stages: list[tuple[str, str, SafeString]]

    @property
    def nowhere_count(self) -> int:
        return sum(group.number for group in self.nowhere)


def yard_map(today: date) -> YardMap:
    """Return all places with what stands in them, in three queries, however many flats there are."""
    groups = _groups()
    held = {pk: sum(group.number for group in found) for pk, found in groups.items() if pk is not None}
    yard = Yard.read(held=held)
    boxes = [_box(place, yard, groups) for place in yard.outermost()]
    lines = [line for box in boxes for line in _flattened(box)]
    for line in lines:
        line.ages = ages_said(line.groups, today)
    seen = {group.stage for found in groups.values() for group in found}
    stages = [
        (stage.value, str(stage.label), draw_spots({stage: 1}, 0)) for stage in STANDING if stage in seen
    ]
    return YardMap(boxes, lines, groups[None], ages_said(groups[None], today), stages)


def ages_said(groups: list[Group], today: date) -> str:
    """Say how many days ago flats were grafted: "day 3", "day 3 to 9"."""
    days = [day for group in groups for day in (group.first_grafted, group.last_grafted) if day]
    if not days:
        return ""
    oldest, youngest = (today - min(days)).days, (today - max(days)).days
    if oldest == youngest:
        return _("day %d") % oldest
    return _("day %(youngest)d to %(oldest)d") % {"youngest": youngest, "oldest": oldest}


def _groups() -> dict[int | None, list[Group]]:
    """Return what stands in each place by stage; under None what stands nowhere that anybody noted."""
    first = Q(flat__runs__is_regraft=False)  # what was grafted again does not make a flat younger
    moves = all_last_moves().filter(flat__origin=Flat.Origin.MARKS).exclude(stage__in=LEFT_STAGES).order_by()
    rows = moves.values("place", "stage").annotate(
        number=Count("flat", distinct=True),
        since=Min("at"),
        first_grafted=Min("flat__runs__grafted_on", filter=first),
        last_grafted=Max("flat__runs__grafted_on", filter=first),
    )
    groups: dict[int | None, list[Group]] = defaultdict(list)
    for row in sorted(rows, key=lambda row: STANDING.index(row["stage"])):
        groups[row.pop("place")].append(Group(**row))
    unmoved = Flat.objects.kept().filter(~Exists(standing_moves(OuterRef("pk"))))
    told: dict[str, Any] = unmoved.aggregate(
        number=Count("pk", distinct=True),
        since=Min("created_at"),
        first_grafted=Min("runs__grafted_on"),
        last_grafted=Max("runs__grafted_on"),
    )
    if told["number"]:
        groups[None].append(Group(stage=Stage.BENCH, **told))
    return groups


def _box(place: Place, yard: Yard, groups: dict[int | None, list[Group]]) -> Box:
    flats, own = yard.flats_in(place), yard.held.get(place.pk, 0)
    room = place.capacity_flats
    box = Box(
        place=place,
        where=yard.said(place.stands_in_id),
        own=own,
        flats=flats,
        room=room_said(place, yard),
        is_over=room is not None and flats > room,
        groups=groups.get(place.pk, []),
    )
    box.inner = [_box(inner, yard, groups) for inner in yard.holds(place)]
    box.picture = _picture(box, room)
    return box


def _flattened(box: Box) -> list[Box]:
    """Return a box and those in it, each before what stands in it."""
    return [box, *(line for inner in box.inner for line in _flattened(inner))]


def _picture(box: Box, room: int | None) -> SafeString | None:
    """Draw a square a flat, and an empty one for each that has room.

    A bar where they are too many to see, or stand in the places inside it.
    """
    if box.inner or max(box.flats, room or 0) > DRAWN_MOST:
        return draw_bar(box.flats, room) if room else None
    free = max(0, room - box.flats) if room else 0
    return draw_spots({Stage(group.stage): group.number for group in box.groups}, free)
