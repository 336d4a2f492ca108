"""Move flats and places: one touch is one act, however many flats it takes along.

A flat's move is a ``StageMove``, a trolley's a ``PlaceMove``; those of one touch share their ``act``, by
which ``undo_moves.py`` takes all of it back. A trolley takes along what stands on it: its flats get a move of
their own only where their stage changes, or the chamber they come into becomes too full. What has left the
farm, and what somebody is grafting at this moment, stays out of every move.

Nothing is refused for want of room: ``excess_of`` says beforehand how many are too many, and the moves say
that they were made all the same (``is_over_capacity``).
"""

from collections import Counter
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID, uuid4

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Exists, Min, OuterRef
from django.utils.translation import gettext as _

from nursery.actions.bulk import insert_new
from nursery.actions.counting import lock_flats
from nursery.actions.stamp import Stamp
from nursery.actions.yard import Excess, Yard, last_moves
from nursery.calc.codes import spoken
from nursery.models import LEFT_STAGES, Flat, Place, PlaceMove, Run, Session, Stage, StageMove

NAMED_MOST = 3


@dataclass(frozen=True, slots=True)
class Load:
    """What one touch moves: flats by themselves, and places with all that stands in them."""

    flats: tuple[Flat, ...] = ()
    places: tuple[Place, ...] = ()


@dataclass(frozen=True, slots=True)
class Sorting:
    """Flats by whether they can be moved: ``left`` the farm, ``in_hand`` of somebody at the bench."""

    free: list[Flat]
    left: list[Flat]
    in_hand: list[Flat]


@dataclass(frozen=True, slots=True)
class _Act:
    """What the moves of one touch have in common."""

    uuid: UUID
    stamp: Stamp
    stage: str | None
    reason: str
    is_over: bool


def move_flats(
    flats: Iterable[Flat], *, to_place: Place, stage: str | None = None, stamp: Stamp, reason: str = ""
) -> UUID:
    """Move flats to a place; return the act, for its undo.

    Without a ``stage`` each flat takes that of the place, a flat that was only sown stays sown. Flats that
    have left or are being grafted are passed over; ValidationError if that leaves nothing to move.
    """
    return move_load(Load(tuple(flats)), to_place=to_place, stage=stage, stamp=stamp, reason=reason)


def move_place(
    place: Place, *, into: Place | None, stage: str | None = None, stamp: Stamp, reason: str = ""
) -> UUID:
    """Put a place (a trolley) into another, or into none, with all that stands in it; return the act.

    ValidationError if it stands there already, or would stand in itself.
    """
    return move_load(Load(places=(place,)), to_place=into, stage=stage, stamp=stamp, reason=reason)


def move_content(
    place: Place, *, to_place: Place, stage: str | None = None, stamp: Stamp, reason: str = ""
) -> UUID:
    """Move all that stands in a place: its flats, and the trolleys in it as they are; return the act."""
    load = content_of(place, Yard.read(), to_place=to_place)
    return move_load(load, to_place=to_place, stage=stage, stamp=stamp, reason=reason)


def move_session(
    session: Session, *, to_place: Place, stage: str | None = None, stamp: Stamp, reason: str = ""
) -> UUID:
    """Move the flats of a session that are still at the bench, else all of them; return the act."""
    flats = flats_of_session(session)
    return move_flats(flats, to_place=to_place, stage=stage, stamp=stamp, reason=reason)


@transaction.atomic
def move_load(
    load: Load, *, to_place: Place | None, stage: str | None = None, stamp: Stamp, reason: str = ""
) -> UUID:
    """Move flats and places in one act; see ``move_flats`` and ``move_place``."""
    if stage is not None and (stage in LEFT_STAGES or stage not in Stage.values):
        raise ValueError(f"stage must be one in which a flat stands, got {stage!r}")
    yard = Yard.read(for_moving=True)
    target = yard.places[to_place.pk] if to_place else None
    places = [yard.places[place.pk] for place in load.places]
    _refuse_circle(yard, places, target)
    carried = _flats_in(yard, places)
    lock_flats({flat.pk for flat in load.flats} | carried.keys())
    flats = sort_flats(load.flats)
    over = yard.excess(target, coming_of(Load(places=tuple(places)), flats.free, yard))
    act = _Act(uuid4(), stamp, stage, reason.strip(), bool(over))
    settled = [place for place in places if place.stands_in_id != (target.pk if target else None)]
    before = {place_id: yard.stage_at(place_id) for place_id in set(carried.values())}
    _settle(settled, target, act)
    count = len(settled) + _move_flats(flats.free, yard, target, act)
    count += _carry(before, carried, Yard(_reread(yard), yard.held), act)
    if not count:
        raise _nothing_to_move(load, flats, target)
    return act.uuid


def sort_flats(flats: Iterable[Flat]) -> Sorting:
    """Say which of these flats can be moved; two queries, however many they are."""
    chosen = {flat.pk: flat for flat in flats}
    left = set(last_moves().filter(flat__in=chosen, stage__in=LEFT_STAGES).values_list("flat", flat=True))
    left |= {flat.pk for flat in chosen.values() if flat.origin != Flat.Origin.MARKS}
    in_hand = set(Run.objects.open().filter(flat__in=chosen).values_list("flat", flat=True)) - left
    stays = left | in_hand
    return Sorting(
        free=[flat for pk, flat in chosen.items() if pk not in stays],
        left=[chosen[pk] for pk in chosen if pk in left],
        in_hand=[chosen[pk] for pk in chosen if pk in in_hand],
    )


def flats_of_session(session: Session, *, is_whole: bool = False) -> list[Flat]:
    """Return the flats of a session that are still at the bench; else, or if the whole is wanted, all."""
    flats = list(Flat.objects.filter(runs__session=session).distinct().order_by("pk"))
    if is_whole:
        return flats
    at_bench = set(last_moves().filter(flat__in=flats, stage=Stage.BENCH).values_list("flat", flat=True))
    at_bench -= set(Run.objects.open().filter(flat__in=flats).values_list("flat", flat=True))
    return [flat for flat in flats if flat.pk in at_bench] or flats


def content_of(place: Place, yard: Yard, *, to_place: Place | None = None) -> Load:
    """Return what stands in a place: its flats, those of the benches in it, and its trolleys as they are.

    What stands in ``to_place`` already, or holds it, is left where it is.
    """
    there = {one.pk for one in (to_place, *yard.inside(to_place))} if to_place else set()
    around = set(yard.around(to_place.pk)) if to_place else set()
    fixed, trolleys, waiting = [place], [], yard.holds(place)
    while waiting:
        inner = waiting.pop(0)
        if inner.kind != Place.Kind.TROLLEY:
            fixed.append(inner)
            waiting += yard.holds(inner)
        elif inner.pk not in there and inner not in around:
            trolleys.append(inner)
    standing = last_moves().exclude(stage__in=LEFT_STAGES)
    ids = standing.filter(place__in=[one.pk for one in fixed if one.pk not in there]).values("flat")
    return Load(tuple(Flat.objects.filter(pk__in=ids).order_by("pk")), tuple(trolleys))


def excess_of(load: Load, to_place: Place | None) -> list[Excess]:
    """Return the places that this would make too full; empty where it fits."""
    yard = Yard.read()
    target = yard.places[to_place.pk] if to_place else None
    return yard.excess(target, coming_of(load, sort_flats(load.flats).free, yard))


def _refuse_circle(yard: Yard, places: Collection[Place], target: Place | None) -> None:
    around = yard.around(target.pk) if target else []
    for place in places:
        if place == target:
            raise ValidationError({"to_place": _("%s cannot stand in itself.") % place}, code="circle")
        if place in around:
            text = _("“%(outer)s” stands in “%(name)s” already. Choose a place that does not.")
            said = {"outer": target, "name": place}
            raise ValidationError({"to_place": text % said}, code="circle")


def _flats_in(yard: Yard, places: Sequence[Place]) -> dict[int, int]:
    """Return the flats that stand in ``places`` and inside them, each with its place."""
    whole = {one.pk for place in places for one in (place, *yard.inside(place))}
    if not whole:
        return {}
    moves = last_moves().filter(place__in=whole).exclude(stage__in=LEFT_STAGES)
    return dict(moves.values_list("flat", "place"))


def coming_of(load: Load, free: Collection[Flat], yard: Yard) -> Counter[int | None]:
    """Count the flats that move, those that are ``free`` and those on places, by where they stand now."""
    coming: Counter[int | None] = Counter()
    if free:
        known = dict(last_moves().filter(flat__in=free).values_list("flat", "place"))
        coming.update(known.get(flat.pk) for flat in free)
    for place in load.places:
        for one in (place, *yard.inside(place)):
            coming[one.pk] += yard.held.get(one.pk, 0)
    return coming


def _settle(places: Sequence[Place], target: Place | None, act: _Act) -> None:
    """Write that places came to stand in ``target``, and where each stood before if nobody wrote that yet."""
    if not places:
        return
    told = set(PlaceMove.objects.standing().filter(place__in=places).values_list("place", flat=True))
    untold = [place for place in places if place.pk not in told and place.stands_in_id is not None]
    fields = act.stamp.fields()
    if (
        untold
    ):  # their records said where they stood and not since when: as long as the book tells of anything
        PlaceMove.objects.bulk_create(
            PlaceMove(place=place, stands_in_id=place.stands_in_id, **fields | {"at": _beginning(act.stamp)})
            for place in untold
        )
    PlaceMove.objects.bulk_create(
        PlaceMove(place=place, stands_in=target, act=act.uuid, **fields) for place in places
    )
    Place.objects.filter(pk__in=[place.pk for place in places]).update(stands_in=target)


def _beginning(stamp: Stamp) -> datetime:
    """Return the moment of the first move in the book."""
    found = [rows.aggregate(first=Min("at"))["first"] for rows in (StageMove.objects, PlaceMove.objects)]
    moments: list[datetime] = [stamp.at, *filter(None, found)]
    return min(moments)


def _move_flats(flats: Sequence[Flat], yard: Yard, target: Place | None, act: _Act) -> int:
    """Write the moves of flats that do not stand there, at that stage, already; return how many."""
    if not flats:
        return 0
    if target is None:
        raise ValueError("flats are moved to a place")
    last = {move.flat_id: move for move in last_moves().filter(flat__in=flats)}
    sown = _ungrafted([flat.pk for flat in flats])
    moved = []
    for flat in flats:
        move = last.get(flat.pk)
        stage = act.stage or _stage_of(flat, move, yard.stage_at(target.pk), is_only_sown=flat.pk in sown)
        if move is None or (move.place_id, move.stage) != (target.pk, stage):
            moved.append(_stage_move(flat.pk, target.pk, stage, act))
    insert_new(moved)
    return len(moved)


def _stage_of(flat: Flat, last: StageMove | None, at_place: str | None, *, is_only_sown: bool) -> str:
    """Return the stage that a flat comes to where nobody said one."""
    if is_only_sown and (last.stage == Stage.SOWN if last else flat.sowing_id):
        return Stage.SOWN
    return at_place or (last.stage if last else Stage.BENCH)


def _carry(before: dict[int, str | None], carried: dict[int, int], yard: Yard, act: _Act) -> int:
    """Write the moves of flats on places that moved, where it makes a difference to them; return how many.

    ``before`` is what their places said of the stage until now.
    """
    last = {move.flat_id: move for move in last_moves().filter(flat__in=carried)}
    sown = _ungrafted(carried)
    moved = []
    for flat_id, place_id in carried.items():
        stage, now = last[flat_id].stage, yard.stage_at(place_id)
        if stage in LEFT_STAGES:  # since we looked
            continue
        stays_sown = flat_id in sown and stage == Stage.SOWN
        new = act.stage or (now if now and now != before[place_id] and not stays_sown else stage)
        if new != stage or act.is_over:
            moved.append(_stage_move(flat_id, place_id, new, act))
    insert_new(moved)
    return len(moved)


def _ungrafted(flat_ids: Collection[int]) -> set[int]:
    if not flat_ids:
        return set()
    is_grafted = Exists(Run.objects.filter(flat=OuterRef("pk")))
    return set(Flat.objects.filter(~is_grafted, pk__in=flat_ids).values_list("pk", flat=True))


def _stage_move(flat_id: int, place_id: int, stage: str, act: _Act) -> StageMove:
    return StageMove(
        flat_id=flat_id,
        place_id=place_id,
        stage=stage,
        act=act.uuid,
        reason=act.reason,
        is_over_capacity=act.is_over,
        **act.stamp.fields(),
    )


def _reread(yard: Yard) -> dict[int, Place]:
    """Return the places as they stand after the move, in the same order."""
    into = dict(Place.objects.values_list("pk", "stands_in"))
    for pk, place in yard.places.items():
        place.stands_in_id = into[pk]
    return yard.places


def _nothing_to_move(load: Load, flats: Sorting, target: Place | None) -> ValidationError:
    if flats.free or load.places:
        where = _("in %s") % target if target else _("by itself")
        return ValidationError(_("This stands %s already: choose another place.") % where, code="there")
    if flats.in_hand:
        text = _("Still being grafted: %s. Finish it first.")
        return ValidationError(text % codes_said(flats.in_hand), code="in_hand")
    if flats.left:
        text = _("Discarded or dispatched: %s. What has left the farm is not moved.")
        return ValidationError(text % codes_said(flats.left), code="left")
    return ValidationError(_("There is nothing to move: choose flats first."), code="none")


def codes_said(flats: Sequence[Flat]) -> str:
    """Name flats by their codes, the first few and how many more."""
    named = ", ".join(spoken(flat.code) for flat in flats[:NAMED_MOST])
    if len(flats) <= NAMED_MOST:
        return named
    return _("%(codes)s and %(number)d more") % {"codes": named, "number": len(flats) - NAMED_MOST}
