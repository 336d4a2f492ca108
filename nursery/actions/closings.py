"""Close checks and open them again. What a check saw, and whether it is closed, follows from its closings."""

import json
from collections import defaultdict
from collections.abc import Iterable, Sequence
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from nursery.actions.batch import ClosingIn
from nursery.actions.counting import lock_flats
from nursery.actions.desk import REFUSED, Desk
from nursery.actions.stamp import Stamp
from nursery.models import Account, Check, Closing, Voiding

GROWERS_REOPEN = gettext_lazy("Only a grower opens a closed check again.")


def take_closings(desk: Desk) -> None:
    """Store the closings of a batch and derive its checks from them."""
    allowed = []
    for closing in desk.of_known_checks(desk.batch.closings):
        if closing.kind == Closing.Kind.REOPEN and not _may_reopen(desk.sender.account):
            desk.receipt.say(closing.uuid, REFUSED, GROWERS_REOPEN)
        else:
            allowed.append(closing)
    if allowed:
        desk.insert(Closing, [_closing_row(desk, closing) for closing in allowed], _closing_content)
        derive_checks({desk.checks[closing.check] for closing in allowed})
        _set_causes(desk, allowed)


def _may_reopen(account: Account | None) -> bool:
    return account is None or account.is_grower  # None: the program itself


def _closing_row(desk: Desk, closing: ClosingIn) -> Closing:
    return Closing(
        uuid=closing.uuid,
        check_ref=desk.checks[closing.check],
        kind=closing.kind,
        replaces=list(closing.replaces),
        known_marks=list(closing.known or ()),
        tells_known=closing.known is not None and closing.is_look,
        reason=closing.reason,
        seen=closing.seen,
        seen_places=list(closing.seen_places) if closing.seen == Closing.Seen.PART else None,
        **desk.signature(closing.at, closing.worker),
    )


def _closing_content(closing: Closing) -> tuple[object, ...]:
    """Return what makes a closing the same when it is sent again."""
    return (
        closing.check_ref_id,
        closing.kind,
        tuple(closing.replaces),
        tuple(closing.known_marks),
        closing.raw_at,
        closing.seen,
        tuple(closing.seen_places or ()),
    )


def derive_checks(checks: Iterable[Check]) -> None:
    """Derive from all closings of these checks, in whatever order they came, what stands on the check.

    A check is closed if some closing of it was not taken back by a reopening of it that names it. What it saw
    is what those closings say together; if none says, what it was opened for.
    """
    by_key = {check.pk: check for check in checks}
    closings: dict[int, list[Closing]] = defaultdict(list)
    for closing in Closing.objects.filter(check_ref__in=by_key).defer("known_marks"):
        closings[closing.check_ref_id].append(closing)
    alike: dict[str, list[int]] = defaultdict(list)  # checks by what is to be written on them
    for pk, check in by_key.items():
        standing = _standing(closings[pk])
        derived = {"is_closed": bool(standing), **_sight(check, standing)}
        changed = {name: value for name, value in derived.items() if getattr(check, name) != value}
        if changed:
            alike[json.dumps(changed)].append(pk)
    for changed_text, pks in alike.items():
        Check.objects.filter(pk__in=pks).update(**json.loads(changed_text))


def _standing(closings: Iterable[Closing]) -> list[Closing]:
    """Return the closings that no reopening took back."""
    closings = list(closings)
    taken_back = {
        uuid for closing in closings if closing.kind == Closing.Kind.REOPEN for uuid in closing.replaces
    }
    closed = [closing for closing in closings if closing.kind == Closing.Kind.CLOSE]
    return [closing for closing in closed if str(closing.uuid) not in taken_back]


def _sight(check: Check, standing: Sequence[Closing]) -> dict[str, Any]:
    """Return what stands on a check of what it saw; a check by numbers saw no cell."""
    opened = opened_as(check)
    if check.kind == Check.Kind.NUMBERS:
        return {}
    looks = [
        {"kind": closing.seen, "seen_places": closing.seen_places} if closing.seen else opened
        for closing in standing
    ] or [opened]
    if any(look["kind"] == Check.Kind.WHOLE for look in looks):
        kind, places = Check.Kind.WHOLE, None
    else:
        kind = Check.Kind.PART
        places = sorted({place for look in looks for place in look["seen_places"] or ()}) or None
    is_as_opened = (kind, set(places or ())) == (opened["kind"], set(opened["seen_places"] or ()))
    if is_as_opened:
        return {**opened, "opened_as": None}
    return {"kind": str(kind), "seen_places": places, "opened_as": opened}


def opened_as(check: Check) -> dict[str, Any]:
    """Return kind and places that a check was opened with, whatever its closing says."""
    return check.opened_as or {"kind": check.kind, "seen_places": check.seen_places}


def _set_causes(desk: Desk, closings: list[ClosingIn]) -> None:
    """Keep the cause named for the whole check at its closing; one that is sent again changes nothing."""
    new = [closing for closing in closings if desk.receipt.is_new(closing.uuid)]
    for cause in {closing.cause for closing in new if closing.cause}:
        named = [desk.checks[closing.check].pk for closing in new if closing.cause == cause]
        Check.objects.filter(pk__in=named).update(cause=cause)


@transaction.atomic
def ask_to_reopen(check: Check, *, stamp: Stamp, reason: str = "") -> Closing:
    """Ask the growers to open a closed check again; asking twice is asking once.

    ValidationError if it is open.
    """
    lock_flats([check.flat_id])
    if not Check.objects.closed().filter(pk=check.pk).exists():
        raise ValidationError(_("This check is open: go on with it."), code="open")
    asked = Closing.objects.pending_asks().filter(check_ref=check).first()
    if asked is None:
        asked = Closing.objects.create(
            check_ref=check, kind=Closing.Kind.ASK, reason=reason, **stamp.fields()
        )
    return asked


@transaction.atomic
def leave_closed(asked: Closing, *, stamp: Stamp) -> None:
    """Answer an asking with no: the check stays closed. Answering twice changes nothing."""
    lock_flats([asked.check_ref.flat_id])
    Voiding.objects.get_or_create(
        target_uuid=asked.uuid, defaults={"target_noun": "asking", **stamp.fields()}
    )
