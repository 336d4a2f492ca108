"""Take a move back: everything stands where it stood before, and both stay in the book."""

from collections import defaultdict
from collections.abc import Collection
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from nursery.actions.bulk import insert_new
from nursery.actions.counting import lock_flats
from nursery.actions.moves import codes_said
from nursery.actions.stamp import Stamp
from nursery.actions.yard import Yard, last_moves
from nursery.models import LEFT_STAGES, Flat, Leaving, Place, PlaceMove, StageMove, Voiding


@transaction.atomic
def undo_move(act: UUID, *, stamp: Stamp, reason: str = "") -> int:
    """Take back all that one touch moved; return how many flats and places that were.

    ValidationError if it was taken back before, or some of it was moved or has left since, or something
    else came onto a place that it moved: then take that back first.
    """
    yard = Yard.read(for_moving=True)
    moves = list(StageMove.objects.standing().filter(act=act))
    settlings = list(PlaceMove.objects.standing().filter(act=act))
    if any(move.stage in LEFT_STAGES for move in moves) or Leaving.objects.filter(act=act).exists():
        raise ValueError(f"{act} is no move but a leaving")
    if not moves and not settlings:
        raise ValidationError(_("This was taken back already."), code="voided")
    lock_flats(move.flat_id for move in moves)
    _refuse_moved_flats(moves)
    _refuse_moved_places(settlings)
    _refuse_joined(settlings, yard)
    insert_new(
        [*_voidings(moves, "stage move", stamp, reason), *_voidings(settlings, "place move", stamp, reason)]
    )
    _put_back([settling.place_id for settling in settlings])
    return len(moves) + len(settlings)


def is_move(act: UUID) -> bool:
    """True if this act moved something and nobody took it back."""
    moves = StageMove.objects.standing().filter(act=act).exclude(stage__in=LEFT_STAGES)
    return moves.exists() or PlaceMove.objects.standing().filter(act=act).exists()


def last_settlings(place_ids: Collection[int]) -> dict[int, PlaceMove]:
    """Return for each of these places its last move that nobody took back."""
    moves = PlaceMove.objects.standing().filter(place__in=place_ids).order_by("at", "pk")
    return {move.place_id: move for move in moves}


def _refuse_moved_flats(moves: list[StageMove]) -> None:
    ours = {move.pk for move in moves}
    flats = [move.flat_id for move in moves]
    others = [move.flat_id for move in last_moves().filter(flat__in=flats) if move.pk not in ours]
    if others:
        text = ngettext(
            "%(codes)s was moved again since: take that back first.",
            "%(codes)s were moved again since: take that back first.",
            len(others),
        )
        named = codes_said(list(Flat.objects.filter(pk__in=others).order_by("pk")))
        raise ValidationError(text % {"codes": named}, code="moved_since")


def _refuse_moved_places(settlings: list[PlaceMove]) -> None:
    last = last_settlings([settling.place_id for settling in settlings])
    others = [settling.place_id for settling in settlings if last[settling.place_id].pk != settling.pk]
    if others:
        names = ", ".join(place.name for place in Place.objects.filter(pk__in=others))
        raise ValidationError(
            _("%s was moved again since: take that back first.") % names, code="moved_since"
        )


def _refuse_joined(settlings: list[PlaceMove], yard: Yard) -> None:
    """Refuse where something came onto a moved place since, which would be taken along unasked."""
    for settling in settlings:
        place = yard.places[settling.place_id]
        whole = [place.pk, *(inner.pk for inner in yard.inside(place))]
        came = last_moves().filter(place__in=whole, at__gt=settling.at).exclude(act=settling.act)
        came = came.exclude(stage__in=LEFT_STAGES)
        inner = PlaceMove.objects.standing().filter(stands_in__in=whole, at__gte=settling.at)
        inner = inner.filter(place__in=whole, pk__gt=settling.pk, act__isnull=False).exclude(act=settling.act)
        if came.exists() or inner.exists():
            text = _("Something else was put on %s since: take that back first.")
            raise ValidationError(text % place, code="moved_since")


def _voidings(
    events: Collection[StageMove] | Collection[PlaceMove], noun: str, stamp: Stamp, reason: str
) -> list[Voiding]:
    fields = stamp.fields()
    return [Voiding(target_uuid=event.uuid, target_noun=noun, reason=reason, **fields) for event in events]


def _put_back(place_ids: Collection[int]) -> None:
    """Let places stand where their last move that still counts brought them."""
    last = last_settlings(place_ids)
    back: dict[int | None, list[int]] = defaultdict(list)
    for place_id in place_ids:
        back[last[place_id].stands_in_id if place_id in last else None].append(place_id)
    for stood_in, moved in back.items():
        Place.objects.filter(pk__in=moved).update(stands_in=stood_in)
