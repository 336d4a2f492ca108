"""Who grafts what, while a flat is on the bench: hand over, take back, put right."""

from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from nursery.actions.bench import (
    begin_run,
    changed_meanwhile,
    hold_flat,
    place_names,
    run_in_hand,
    used_places,
)
from nursery.actions.sessions import end_pauses, open_session
from nursery.actions.stamp import Stamp
from nursery.actions.work import SIDES, Work, side_of, store_sowings
from nursery.models import Change, Flat, Run, RunSowing, Session, Sowing


@transaction.atomic
def hand_over(flat: Flat, *, first_place: int, work: Work, stamp: Stamp) -> Run:
    """Close the run in hand and begin the next at ``first_place``: another worker, another scion, or both.

    ``work`` is that of the run in hand with what changes: ``Work.of(run).by(worker)``,
    ``Work.of(run).on_pairing(pairing)``. If the session of the run in hand has ended, the new run belongs to
    the session opened last, and the same worker may go on. Sowings that were used for a new cultivar in this
    session carry over.

    Raises ValidationError if the place lies at or before the first place of the run in hand or is not used,
    if nothing changes, or if the flat is not on the bench.
    """
    flat = hold_flat(flat)
    run = run_in_hand(flat)
    _require_after(flat, run, first_place)
    session = _session_now(run)
    work = _with_sowings_of_session(work, session)
    if session.pk == run.session_id and not changes(Work.of(run), work):
        raise ValidationError(_("Nothing changes at this cell: choose another person or another scion."))
    _close(run, stamp)
    end_pauses(session, stamp=stamp)
    return begin_run(
        flat, session=session, work=work, stamp=stamp, number=run.number + 1, first_place=first_place
    )


@transaction.atomic
def undo_hand_over(flat: Flat, *, stamp: Stamp) -> Run:
    """Take back the last hand-over; the run before it is in hand again and is returned."""
    flat = hold_flat(flat)
    run = run_in_hand(flat)
    before = flat.runs.filter(number__lt=run.number).order_by("-number").first()
    if before is None:
        raise ValidationError(_("There is no hand-over to take back on this flat."), code="first")
    old = {"number": run.number, "first_place": run.first_place, "work": _stored(Work.of(run))}
    if not Run.objects.open().filter(pk=run.pk, cells__isnull=True).delete()[0]:
        raise changed_meanwhile()
    Run.objects.filter(pk=before.pk).update(finished_at=None)
    Change.objects.create(flat=flat, field="hand_over", old=old, new=None, **stamp.fields())
    return Run.objects.named().get(pk=before.pk)


@transaction.atomic
def correct_run(run: Run, *, work: Work, stamp: Stamp) -> None:
    """Put a run right while its flat is on the bench; each value that changes is written down as a change."""
    flat = hold_flat(run.flat)
    run_in_hand(flat)
    work.check()
    stored = Run.objects.named().get(pk=run.pk)
    old = Work.of(stored)
    changed = changes(old, work)
    if not changed:
        return
    columns = {name: getattr(work, name) for name in changed if name not in SIDES}
    for name, value in columns.items():
        setattr(stored, name, value)
    stored.full_clean()
    if columns:
        stored.save(update_fields=list(columns))
    store_sowings(stored, work)
    before, after = _stored(old), _stored(work)
    Change.objects.bulk_create(
        Change(flat=flat, run=stored, field=name, old=before[name], new=after[name], **stamp.fields())
        for name in changed
    )


@transaction.atomic
def use_sowing(run: Run, *, sowing: Sowing, stamp: Stamp, beside: bool = False) -> str:
    """Set a sowing on its side of a run in progress, instead of what stands there or ``beside`` it.

    Returns the side, as a value of ``RunSowing.Side``; ValidationError if it is neither scion nor rootstock.
    """
    stored = Run.objects.named().get(pk=run.pk)
    correct_run(run, work=Work.of(stored).with_sowing(sowing, beside=beside), stamp=stamp)
    return SIDES[side_of(stored.pairing, sowing)].value


def changes(old: Work, new: Work) -> list[str]:
    """Return the names of the fields in which two works differ."""
    before, after = _stored(old), _stored(new)
    return [name for name in before if before[name] != after[name]]


def first_place_after(flat: Flat, done_count: int) -> int:
    """Return the place at which work goes on when ``done_count`` plants of the flat are done.

    Places known to be blank are not counted. ValidationError if there are not so many places.
    """
    blanks = set(flat.blank_places or [])
    places = [place for place in used_places(flat) if place not in blanks]
    if done_count < 0 or done_count > len(places):
        raise ValidationError(
            {"done_count": _("This flat has %(count)s places: give a number below.") % {"count": len(places)}}
        )
    if done_count == len(places):
        raise ValidationError({"done_count": _("All %(count)s are done: finish it.") % {"count": done_count}})
    return places[done_count]


def _require_after(flat: Flat, run: Run, first_place: int) -> None:
    used = used_places(flat)
    if first_place not in used:
        raise ValidationError({"first_place": _("No graft stands there: tap a cell that is used.")})
    first_of_run = next(place for place in used if place >= run.first_place)
    if first_place <= first_of_run:
        raise ValidationError(
            {
                "first_place": _(
                    "The run in hand begins at %(place)s: tap a later cell. "
                    "To change the whole run, correct it."
                )
                % {"place": place_names(flat, [first_of_run])[0]}
            }
        )


def _session_now(run: Run) -> Session:
    session = run.session if run.session and run.session.ended_at is None else None
    session = session or Session.objects.open().order_by("-started_at", "-pk").first()
    if session is None:
        raise ValidationError(_("No session is open. Start one, then hand over."), code="no_session")
    return open_session(session)


def _with_sowings_of_session(work: Work, session: Session) -> Work:
    """Fill a side without a sowing with what this session last used for the same cultivar."""
    for name, cultivar_id in (
        ("scion_sowings", work.pairing.scion_id),
        ("rootstock_sowings", work.pairing.rootstock_id),
    ):
        if getattr(work, name):
            continue
        rows = RunSowing.objects.filter(
            run__session=session, side=SIDES[name], sowing__lot__cultivar_id=cultivar_id
        ).order_by("-run__started_at", "-pk")
        last = rows.select_related("sowing__lot__cultivar").first()
        if last:
            work = work.with_sowing(last.sowing)
    return work


def _close(run: Run, stamp: Stamp) -> None:
    if run.started_at and stamp.at < run.started_at:
        raise ValidationError(_("The run in hand began later than that: check the clock."), code="clock")
    # The other side of the race finished or handed over the flat between our look and this line.
    if not Run.objects.open().filter(pk=run.pk).update(finished_at=stamp.at):
        raise changed_meanwhile()


def _stored(work: Work) -> dict[str, Any]:
    """Return a work as plain values: public keys, codes, words."""
    values: dict[str, Any] = {}
    for name, value in work.columns().items():
        values[name] = None if value is None else str(getattr(value, "key", value))
    for name in SIDES:
        values[name] = sorted(sowing.code for sowing in getattr(work, name))
    return values
