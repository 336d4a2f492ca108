"""Put flats on the bench and take them off again.

While a flat is being grafted it has runs with ``started_at``; the one without ``finished_at`` is in hand, and
``first_place`` says where each began. Cells come into being when the flat is finished (``finishing.py``).
Every action on a flat holds its row first, so that two people who work on one flat do so one after the
other; whoever comes second finds the flat changed and is told.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from nursery.actions.codes import code_words, issue_code
from nursery.actions.sessions import end_pauses, open_session
from nursery.actions.stamp import Stamp
from nursery.actions.work import Work, store_sowings
from nursery.calc.codes import FLAT, CodeError, kind_of, near_codes, read_code, spoken
from nursery.calc.days import local_date
from nursery.calc.places import place_name
from nursery.models import (
    Farm,
    Flat,
    Layout,
    PrintedCode,
    Run,
    Session,
    Stage,
    StageMove,
    TrayFormat,
    Voiding,
    Worker,
    standing_moves,
)


@dataclass(frozen=True, slots=True)
class Tray:
    """A tray that is no flat of the book yet.

    ``code`` is one that was printed ahead, else a new one is given. ``key`` is the public key of the run that
    begins on it: a form sent twice gives the same key and gets the same run.
    """

    tray_format: TrayFormat
    layout: Layout
    code: str = ""
    key: UUID | None = None


def put_on(session: Session, *, tray: Flat | Tray, work: Work, stamp: Stamp) -> Run:
    """Begin to graft a flat: one that was sown, one known by its code, or a new tray.

    The flat comes to the stage "bench" at the session's place. A flat that was sown gives its sowing to the
    side of its cultivar. A pause that still runs ends. Returns the run that is now in hand.

    Raises ValidationError if the session has ended, the flat is on the bench, grafted or discarded, the
    printed code is not free, or the work does not fit.
    """
    try:
        with transaction.atomic():
            return _put_on(session, tray, work, stamp)
    except IntegrityError:
        # Two benches took one flat at once, on a database that lets both look before either writes.
        raise changed_meanwhile() from None


def put_on_next(
    session: Session, *, worker: Worker | None, stamp: Stamp, code: str = "", key: UUID | None = None
) -> Run:
    """Put on a flat like the last one of ``worker`` in this session (else like the session's last).

    Format, layout, pairing, method, cut, clip, roots, hours rested, who cut and the sowings carry over; so
    does the second of a pair, if it was this worker's flat. Without a ``code`` (typed or scanned, of a sown
    flat or printed ahead) it is a new flat. ValidationError in a session without a flat.
    """
    last = run_to_copy(session, worker)
    if last is None:
        raise ValidationError(_("Put the first flat of this session on by hand; the next ones follow it."))
    shape = last.flat
    if shape.tray_format is None or shape.layout is None:
        raise ValueError("a flat on the bench has a format and a layout")
    work = Work.of(last)
    if last.worker != worker:
        work = work.by(worker)
    found = tray_of_code(code) if code.strip() else ""
    tray: Flat | Tray
    if isinstance(found, str):
        tray = Tray(tray_format=shape.tray_format, layout=shape.layout, code=found, key=key)
    else:
        tray = found
    return put_on(session, tray=tray, work=work, stamp=stamp)


def run_to_copy(session: Session, worker: Worker | None) -> Run | None:
    """Return the run that the next flat of ``worker`` takes after."""
    runs = (
        session.runs.named()
        .select_related("flat__tray_format", "flat__layout")
        .order_by("-started_at", "-pk")
    )
    return runs.filter(worker=worker).first() or runs.first()


def tray_of_code(text: str) -> Flat | str:
    """Return the flat that bears a typed or scanned code, or the code itself if it is printed and free.

    ValidationError says what is wrong with the code, with the nearest ones that exist.
    """
    try:
        code = read_code(text)
    except CodeError as error:
        raise ValidationError(_nearest(text, code_words(error)), code="code") from error
    if kind_of(code) != FLAT:
        raise ValidationError(
            _("%(code)s is not a flat's code: that begins with F.") % {"code": spoken(code)}
        )
    flat = Flat.objects.filter(code=code).first()
    if flat is None and not PrintedCode.objects.free().filter(code=code).exists():
        raise ValidationError(_nearest(text, _("No flat and no printed label bears %s.") % spoken(code)))
    return flat or code


@transaction.atomic
def take_off(flat: Flat, *, stamp: Stamp) -> None:
    """Take off a flat that was put on by mistake: nothing of it was grafted.

    Its code stays taken and can be put on again. ValidationError once it was handed over or finished.
    """
    hold_flat(flat)
    runs = list(flat.runs.all())
    if [run.finished_at for run in runs] != [None]:
        raise ValidationError(_("Take back the hand-over first; a finished flat stays."), code="begun")
    moves = StageMove.objects.standing().filter(flat=flat, stage=Stage.BENCH)
    for move in moves:
        Voiding.objects.create(target_uuid=move.uuid, target_noun="stage move", **stamp.fields())
    if not Run.objects.open().filter(pk=runs[0].pk, cells__isnull=True).delete()[0]:
        raise changed_meanwhile()
    Flat.objects.filter(pk=flat.pk).update(blank_places=None)


def hold_flat(flat: Flat) -> Flat:
    """Return the flat as it is now and keep others from it until the transaction ends."""
    return Flat.objects.select_for_update().get(pk=flat.pk)


def run_in_hand(flat: Flat) -> Run:
    """Return the run being grafted; ValidationError if the flat is not on the bench."""
    run = flat.runs.open().named().order_by("-number").first()
    if run is None:
        raise ValidationError(
            _("%(code)s is not being grafted: it was finished, or never put on.")
            % {"code": spoken(flat.code)},
            code="not_on_bench",
        )
    return run


def stage_of(flat: Flat) -> str | None:
    """Return the stage of the last standing move, None for a flat that never moved."""
    stage: str | None = standing_moves(flat).values_list("stage", flat=True).first()
    return stage


def begin_run(flat: Flat, *, session: Session | None, work: Work, stamp: Stamp, **columns: object) -> Run:
    """Store a run that begins now. ``columns`` are its number, first place and perhaps its key."""
    work.check()
    farm = Farm.objects.current()
    run = Run(
        flat=flat,
        session=session,
        started_at=stamp.at,
        grafted_on=local_date(stamp.at, farm.time_zone),
        is_fresh_blade=True if farm.blade_rule == Farm.BladeRule.FRESH else None,
        **work.columns(),
        **columns,
    )
    run.full_clean()
    run.save(force_insert=True)
    store_sowings(run, work)
    return run


def used_places(flat: Flat) -> list[int]:
    """Return the places that the layout of a flat uses, in the order of grafting."""
    if flat.layout is None or flat.tray_format is None:
        raise ValueError("an imported tally has no places")
    return flat.layout.used_places(flat.tray_format.rows, flat.tray_format.columns)


def place_names(flat: Flat, places: Iterable[int]) -> list[str]:
    """Return places of a flat as they are said, such as "B5"."""
    if flat.tray_format is None:
        raise ValueError("an imported tally has no places")
    return [place_name(place, flat.tray_format.columns) for place in places]


def changed_meanwhile() -> ValidationError:
    return ValidationError(_("Someone else changed this flat just now. Look at it again."), code="changed")


def _put_on(session: Session, tray: Flat | Tray, work: Work, stamp: Stamp) -> Run:
    # First the flat, then the session, as a hand-over does: so neither waits for what the other holds.
    flat = None if isinstance(tray, Tray) else hold_flat(tray)
    # The session is held from here on: a form sent twice at once finds the run of the first.
    session = open_session(session)
    known = Run.objects.filter(key=tray.key).first() if isinstance(tray, Tray) and tray.key else None
    if known:
        return known
    if isinstance(tray, Tray):
        flat = new_flat(tray, stamp)
    assert flat is not None
    _require_free(flat)
    if flat.sowing:
        work = work.with_sowing(flat.sowing)
    columns = {"key": tray.key} if isinstance(tray, Tray) and tray.key else {}
    run = begin_run(
        flat, session=session, work=work, stamp=stamp, number=1, first_place=used_places(flat)[0], **columns
    )
    StageMove.objects.create(flat=flat, stage=Stage.BENCH, place=session.place, **stamp.fields())
    end_pauses(session, stamp=stamp)
    return run


def new_flat(tray: Tray, stamp: Stamp, *, is_pooled: bool = False) -> Flat:
    """Take a tray into the book; ValidationError if its code is not free or its layout uses no place."""
    if tray.code:
        free = PrintedCode.objects.free().filter(code=tray.code)
        if not free.update(used_at=stamp.at):
            raise ValidationError(
                {"code": _("%(code)s is in use, or was never printed.") % {"code": spoken(tray.code)}}
            )
    flat = Flat(
        code=tray.code or issue_code(FLAT),
        tray_format=tray.tray_format,
        layout=tray.layout,
        is_pooled=is_pooled,
        created_at=stamp.at,
    )
    if not used_places(flat):
        raise ValidationError({"layout": _("This layout uses no place of such a flat.")})
    flat.save(force_insert=True)
    return flat


def _require_free(flat: Flat) -> None:
    if flat.origin != Flat.Origin.MARKS:
        raise ValidationError({"code": _("This flat is an imported tally: it was grafted long ago.")})
    said = spoken(flat.code)
    last = flat.runs.named().order_by("-number").first()
    if last and last.finished_at is None and last.started_at:
        who = last.worker or _("somebody")
        text = _("%(code)s is on the bench already: %(who)s is grafting it.") % {"code": said, "who": who}
    elif last:
        day = date_format(last.grafted_on, "MONTH_DAY_FORMAT")
        text = _("%(code)s was grafted on %(day)s.") % {"code": said, "day": day}
    elif stage_of(flat) == Stage.DISCARDED:
        text = _("%(code)s was discarded.") % {"code": said}
    else:
        return
    raise ValidationError({"code": text})


def _nearest(text: str, complaint: str) -> str:
    near = near_codes(text)
    known = [
        *Flat.objects.filter(code__in=near),
        *PrintedCode.objects.free().filter(code__in=near),
    ]
    if not known:
        return complaint
    codes = ", ".join(spoken(row.code) for row in known)
    return _("%(complaint)s Near it: %(codes)s.") % {"complaint": complaint, "codes": codes}
