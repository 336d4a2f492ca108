"""Checks of a flat for tests, sent through the same door as a tablet's."""

from datetime import timedelta
from uuid import uuid4

from django.utils import timezone

from nursery.actions.batch import Batch, CheckIn, ClosingIn, MarkIn, Sender
from nursery.actions.marks import receive_batch
from nursery.models import Check, Mark


def check_flat(flat, states, *, days_ago=0, account=None, worker=None, cause="", closes=True, seen=()):
    """Check ``flat``: ``states`` maps places to states; ``seen`` are the places, if not all. Returns it.

    Its marks name nothing, as if they were made without network; its closing knows all that was there.
    """
    at = timezone.now() - timedelta(days=days_ago)
    check = uuid4()
    marks = [MarkIn(uuid4(), check, place, 1, state, at, cause=cause) for place, state in states.items()]
    there = Mark.objects.filter(check_ref__flat=flat).values_list("uuid", flat=True)
    known = tuple(str(uuid) for uuid in [*there, *(mark.uuid for mark in marks)])
    receive_batch(
        Batch(
            sent_at=at,
            checks=[CheckIn(check, flat.code, at)],
            marks=marks,
            closings=[_closing(check, at, known, seen)] if closes else [],
        ),
        Sender(account, worker, at),
    )
    return Check.objects.get(uuid=check)


def add_mark(check, place, state, *, kind="seen", replaces=(), account=None, worker=None, reason=""):
    """Add one mark to a check. Returns its UUID."""
    now, uuid = timezone.now(), uuid4()
    mark = MarkIn(
        uuid, check.uuid, place, 1, state, now, kind=kind, reason=reason, replaces=tuple(map(str, replaces))
    )
    receive_batch(Batch(sent_at=now, marks=[mark]), Sender(account, worker, now))
    return uuid


def _closing(check, at, known, seen):
    part = {"seen": "part", "seen_places": tuple(seen)} if seen else {}
    return ClosingIn(uuid4(), check, at, known=known, **part)
