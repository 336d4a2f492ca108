"""Who may see and change what. Views get their objects from here.

There is one farm. A *grower* keeps the records, corrects and reopens. *Crew* grafts, checks, prints and
reads. A *shared tablet* is crew that asks who is working and never shows rates by grafter.
"""

from collections.abc import Iterable
from typing import Any
from uuid import UUID

from django.core.exceptions import PermissionDenied, ValidationError
from django.db.models import Exists, OuterRef, Prefetch, QuerySet
from django.http import Http404, HttpRequest

from nursery.calc.codes import FLAT, PLACE, SOWING, CodeError, kind_of, read_code
from nursery.models import (
    LEFT_STAGES,
    Account,
    BladeEvent,
    Cell,
    Change,
    Check,
    Device,
    DeviceToken,
    Flat,
    Grading,
    Job,
    Leaving,
    Method,
    Place,
    PlaceMove,
    PrintedCode,
    Run,
    Session,
    Severing,
    Sowing,
    StageMove,
    Worker,
)

WORKER_IN_SESSION = "worker"


def require_grower(user: Account) -> None:
    """Raise PermissionDenied unless ``user`` keeps the records."""
    if not user.is_grower:
        raise PermissionDenied


def worker_at(request: HttpRequest) -> Worker | None:
    """Return who is working: the login's own worker, or the one chosen on a shared tablet."""
    user: Any = request.user
    if not user.is_authenticated:
        return None
    if not user.is_shared:
        return worker_of(user)
    key = request.session.get(WORKER_IN_SESSION)
    return Worker.objects.active().filter(key=key).first() if key else None


def worker_of(user: Account) -> Worker | None:
    """Return the worker whose own login this is; a shared tablet's is nobody's."""
    return None if user.is_shared else Worker.objects.active().filter(account=user).first()


def may_see_grafter_rates(user: Account) -> bool:
    """A grower sees all grafters, a worker with an own login their own; a shared tablet none."""
    return user.is_grower or (not user.is_shared and Worker.objects.filter(account=user).exists())


def grafters_visible_to(user: Account) -> QuerySet[Worker]:
    """Return the workers whose rates ``user`` may see."""
    if user.is_grower:
        return Worker.objects.all()
    if user.is_shared:
        return Worker.objects.none()
    return Worker.objects.filter(account=user)


def _canonical(code: str) -> str:
    try:
        return read_code(code)
    except CodeError as error:
        raise Http404(str(error)) from error


def flat_for_reading(user: Account, code: str) -> Flat:
    """Return the flat of ``code``; 404 if there is none."""
    flat = (
        Flat.objects.with_stage()
        .select_related("tray_format", "layout", "sowing__lot__cultivar")
        .filter(code=_canonical(code))
        .first()
    )
    if flat is None:
        raise Http404
    return flat


def flat_for_work(user: Account, code: str) -> Flat:
    """Return a flat that crew may graft on, check and label; 404 for an imported tally."""
    flat = flat_for_reading(user, code)
    if flat.origin != Flat.Origin.MARKS:
        raise Http404
    return flat


def flats_for_work(user: Account, codes: Iterable[str]) -> list[Flat]:
    """Return the flats of these codes that crew may work on, each once; 404 if one is none."""
    wanted = list(dict.fromkeys(_canonical(code) for code in codes))
    flats = Flat.objects.with_stage().kept().filter(code__in=wanted)
    found = {flat.code: flat for flat in flats.select_related("tray_format", "layout")}
    if len(found) < len(wanted):
        raise Http404
    return [found[code] for code in wanted]


def flats_found_for_work(user: Account, codes: Iterable[str]) -> dict[str, Flat]:
    """Return those flats of these codes that crew may work on, by code, in the order they are asked for."""
    wanted = list(codes)
    flats = Flat.objects.with_stage().kept().filter(code__in=wanted)
    found = {flat.code: flat for flat in flats.select_related("tray_format", "layout")}
    return {code: found[code] for code in wanted if code in found}


def tallies_among(user: Account, codes: Iterable[str]) -> set[str]:
    """Return those of these codes that imported tallies bear."""
    tallies = Flat.objects.filter(origin=Flat.Origin.TALLY, code__in=list(codes))
    return set(tallies.values_list("code", flat=True))


def leaving_for_work(user: Account, code: str, uuid: UUID) -> Leaving:
    """Return what left the flat of ``code``; 404 if there is none."""
    flat = flat_for_work(user, code)
    leaving: Leaving | None = flat.leavings.select_related("flat", "to_flat").filter(uuid=uuid).first()
    if leaving is None:
        raise Http404
    return leaving


def grading_for_work(user: Account, code: str, uuid: UUID) -> Grading:
    """Return a grading of the flat of ``code``; 404 if there is none."""
    flat = flat_for_work(user, code)
    grading: Grading | None = flat.gradings.select_related("flat").filter(uuid=uuid).first()
    if grading is None:
        raise Http404
    return grading


def runs_to_sever(user: Account, flat: Flat) -> list[Run]:
    """Return the runs of a flat that wait for their second cut."""
    severed = Severing.objects.standing().filter(run=OuterRef("pk"))
    waiting = flat.runs.named().filter(method=Method.TONGUE, finished_at__isnull=False)
    return list(waiting.filter(~Exists(severed)).order_by("number"))


def severing_for_work(user: Account, code: str, uuid: UUID) -> Severing:
    """Return a severing on the flat of ``code``; 404 if there is none."""
    flat = flat_for_work(user, code)
    severings = Severing.objects.filter(run__flat=flat, uuid=uuid).select_related("run__flat")
    severing: Severing | None = severings.first()
    if severing is None:
        raise Http404
    return severing


def act_for_work(user: Account, act: UUID) -> list[Leaving]:
    """Return what left by one touch, taken back or not; 404 if nothing did."""
    leavings = Leaving.objects.filter(act=act).select_related("flat", "to_flat", "by_worker", "sent_by")
    found = list(leavings.order_by("pk"))
    if not found:
        raise Http404
    return found


def regraft_for_work(user: Account, flat: Flat, number: int) -> Run:
    """Return a run that was grafted into a finished flat later; 404 if there is none."""
    run: Run | None = flat.runs.select_related("flat").filter(number=number, is_regraft=True).first()
    if run is None:
        raise Http404
    return run


def check_for_reading(user: Account, code: str, uuid: UUID) -> Check:
    """Return one check of the flat of ``code``; 404 if there is none."""
    flat = flat_for_reading(user, code)
    check = flat.checks.select_related("by_worker", "sent_by").filter(uuid=uuid).first()
    if check is None:
        raise Http404
    check.flat = flat
    return check


def sowing_for_reading(user: Account, code: str) -> Sowing:
    sowing = Sowing.objects.named().filter(code=_canonical(code)).first()
    if sowing is None:
        raise Http404
    return sowing


def place_for_reading(user: Account, code: str) -> Place:
    place = Place.objects.filter(code=_canonical(code)).first()
    if place is None:
        raise Http404
    return place


def require_move(user: Account, act: UUID) -> None:
    """404 unless this act moved something; what let plants leave is no move."""
    moves = StageMove.objects.filter(act=act)
    is_leaving = moves.filter(stage__in=LEFT_STAGES).exists() or Leaving.objects.filter(act=act).exists()
    if is_leaving or not (moves.exists() or PlaceMove.objects.filter(act=act).exists()):
        raise Http404


def is_borne(code: str) -> bool:
    """True if a flat, sowing or place bears this code (as ``read_code`` returns it)."""
    bearers: dict[str, QuerySet[Any]] = {
        FLAT: Flat.objects.all(),
        SOWING: Sowing.objects.all(),
        PLACE: Place.objects.all(),
    }
    return bearers[kind_of(code)].filter(code=code).exists()


def is_printed_ahead(code: str) -> bool:
    """True if this code stands on a roll and nothing bears it yet."""
    return PrintedCode.objects.free().filter(code=code).exists()


def printed_ahead(codes: Iterable[str]) -> set[str]:
    """Return those of these codes that stand on a roll and that nothing bears yet."""
    return set(PrintedCode.objects.free().filter(code__in=list(codes)).values_list("code", flat=True))


def account_for_change(user: Account, username: str) -> Account:
    """Return a login that a grower may change; 403 for crew, 404 if there is none."""
    require_grower(user)
    account = None if "\0" in username else Account.objects.filter(username=username).first()
    if account is None:
        raise Http404
    return account


def devices_for_reading(user: Account) -> QuerySet[Device]:
    """Return the devices with their ``standing_tokens``, the one heard of last coming first; 403 for crew."""
    require_grower(user)
    tokens = DeviceToken.objects.standing().select_related("account").order_by("account__username", "pk")
    standing = Prefetch("tokens", tokens, to_attr="standing_tokens")
    return Device.objects.order_by("-last_seen_at", "pk").prefetch_related(standing)


def device_for_change(user: Account, uuid: UUID) -> Device:
    """Return a device that a grower may name; 403 for crew, 404 if there is none."""
    require_grower(user)
    device = Device.objects.filter(uuid=uuid).first()
    if device is None:
        raise Http404
    return device


def records_for_reading(user: Account, rows: QuerySet[Any]) -> QuerySet[Any]:
    """Return the records of one kind that ``user`` may read: on one farm, all of them."""
    return rows


def record_for_change(user: Account, rows: QuerySet[Any], **key: str) -> Any:
    """Return the row with this public key; 404 if there is none, 403 if ``user`` may only read."""
    try:
        record = None if "\0" in "".join(key.values()) else rows.filter(**key).first()
    except ValidationError:  # no UUID at all
        record = None
    if record is None:
        raise Http404
    require_grower(user)
    return record


def session_for_work(user: Account, key: UUID) -> Session:
    session = Session.objects.filter(key=key).first()
    if session is None:
        raise Http404
    return session


def run_in_hand(user: Account, key: UUID) -> Run:
    """Return a run that is being grafted; 404 once its flat is finished or handed over."""
    run = Run.objects.open().named().select_related("flat").filter(key=key).first()
    if run is None:
        raise Http404
    return run


def run_for_correction(user: Account, flat: Flat, number: int) -> Run:
    """Return a run of a flat that is on the bench; 404 if there is none, or once the flat is finished."""
    run = flat.runs.named().filter(number=number).first()
    if run is None or not flat.runs.open().exists():
        raise Http404
    return run


def job_for_reading(user: Account, key: UUID) -> Job:
    """Return a piece of long work; 403 for crew, 404 if there is none."""
    require_grower(user)
    job = Job.objects.select_related("asked_by").filter(key=key).first()
    if job is None:
        raise Http404
    return job


def blade_event_for_work(user: Account, session: Session, uuid: UUID) -> BladeEvent:
    event: BladeEvent | None = session.blade_events.filter(uuid=uuid).first()
    if event is None:
        raise Http404
    return event


def runs_to_correct(user: Account, keys: Iterable[str]) -> list[Run]:
    """Return the runs with these public keys, for a grower to put right; 404 if one is none."""
    require_grower(user)
    try:
        wanted = {UUID(key) for key in keys}
    except ValueError as error:
        raise Http404 from error
    runs = list(
        Run.objects.named().select_related("flat").filter(key__in=wanted).order_by("flat_id", "number")
    )
    if len(runs) < len(wanted):
        raise Http404
    return runs


def cell_for_work(user: Account, code: str, public_id: str) -> Cell:
    """Return a graft of the flat of ``code`` by its public id, "17" or "17.2"; 404 if there is none."""
    flat = flat_for_work(user, code)
    place, _dot, graft = public_id.partition(".")
    if not (
        place.isascii() and place.isdigit() and len(place) < 5 and (graft or "1").isdigit() and len(graft) < 4
    ):
        raise Http404
    cell = flat.cells.filter(place_no=int(place), graft_no=int(graft or "1")).first()
    if cell is None:
        raise Http404
    cell.flat = flat
    return cell


def change_for_reading(user: Account, uuid: UUID) -> Change:
    """Return one correction; 404 if there is none."""
    change: Change | None = Change.objects.select_related("run", "flat").filter(uuid=uuid).first()
    if change is None:
        raise Http404
    return change
