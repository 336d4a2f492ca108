"""Sessions at the bench: begin, pause, go on, end, take up again."""

from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import F
from django.db.models.functions import Greatest
from django.utils.translation import gettext as _

from nursery.actions.stamp import Stamp
from nursery.calc.codes import spoken
from nursery.models import Farm, Flat, Pause, Place, Session


@transaction.atomic
def start_session(
    *, stamp: Stamp, place: Place | None = None, note: str = "", key: UUID | None = None
) -> Session:
    """Begin a shift at a bench; the bench may be left unsaid.

    ``key`` is the public key of the new session. A form that is sent twice gives the same key twice and gets
    the same session. ValidationError if a session is open at this bench.
    """
    _one_start_at_a_time()
    known = Session.objects.filter(key=key).first() if key else None
    if known:
        return known
    _require_no_open_session(place)
    session = Session(started_at=stamp.at, place=place, note=note, opened_by=stamp.account)
    if key:
        session.key = key
    session.save(force_insert=True)
    return session


@transaction.atomic
def pause_session(session: Session, *, stamp: Stamp) -> Pause:
    """Stop the clock of a session (lunch is no work); a session that is paused stays so."""
    held = open_session(session)
    running = held.pauses.filter(ended_at__isnull=True).first()
    return running or Pause.objects.create(session=held, started_at=max(stamp.at, held.started_at))


@transaction.atomic
def resume_session(session: Session, *, stamp: Stamp) -> None:
    """Go on after a pause; a session that is not paused stays so."""
    open_session(session)
    end_pauses(session, stamp=stamp)


@transaction.atomic
def end_session(session: Session, *, stamp: Stamp, leave_unfinished: bool = False) -> None:
    """End a shift and its pause.

    ValidationError naming the flats that are still being grafted, unless they are to stay on the bench for
    another session.
    """
    held = open_session(session)
    unfinished = unfinished_flats(held)
    if unfinished and not leave_unfinished:
        raise ValidationError(
            _("Not finished: %(codes)s. Finish them, or leave them on the bench for another session.")
            % {"codes": ", ".join(spoken(flat.code) for flat in unfinished)},
            code="unfinished",
        )
    end_pauses(held, stamp=stamp)
    changed = Session.objects.open().filter(pk=held.pk).update(ended_at=Greatest(F("started_at"), stamp.at))
    if not changed:
        raise _ended()


@transaction.atomic
def reopen_session(session: Session, *, stamp: Stamp) -> None:
    """Take a session up again that was ended by mistake; the time between was no work."""
    _one_start_at_a_time()
    held = Session.objects.select_for_update().get(pk=session.pk)
    if held.ended_at is None:
        return
    _require_no_open_session(held.place)
    if stamp.at > held.ended_at:
        Pause.objects.create(session=held, started_at=held.ended_at, ended_at=stamp.at)
    Session.objects.filter(pk=held.pk).update(ended_at=None)


def open_session(session: Session) -> Session:
    """Return the session as it is now, held until the transaction ends; ValidationError if it has ended."""
    held = Session.objects.select_for_update().get(pk=session.pk)
    if held.ended_at is not None:
        raise _ended()
    return held


def end_pauses(session: Session, *, stamp: Stamp) -> bool:
    """End the pause that runs, if any; True if one did."""
    running = Pause.objects.filter(session_id=session.pk, ended_at__isnull=True)
    return bool(running.update(ended_at=Greatest(F("started_at"), stamp.at)))


def unfinished_flats(session: Session) -> list[Flat]:
    """Return the flats of a session that are still being grafted."""
    return [run.flat for run in session.runs.open().select_related("flat").order_by("started_at", "pk")]


def _one_start_at_a_time() -> None:
    """Let two who start a session at the same bench at once do so one after the other.

    On SQLite the transaction alone does it; PostgreSQL would let both look before either has written.
    """
    list(Farm.objects.select_for_update().values_list("pk"))


def _require_no_open_session(place: Place | None) -> None:
    if not Session.objects.open().filter(place=place).exists():
        return
    if place is None:
        raise ValidationError(
            _("A session is open already. Go on in that one, or say at which bench this one is."), code="open"
        )
    raise ValidationError(
        {"place": _("A session is open at %(place)s already. Go on in that one.") % {"place": place}}
    )


def _ended() -> ValidationError:
    return ValidationError(_("This session has ended. Take it up again, or start another."), code="ended")
