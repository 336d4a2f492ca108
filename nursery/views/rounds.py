"""A round: the flats that somebody walks along and checks one after the other, chosen and started here.

The round itself lives on the tablet that walks it; the script of the page takes the flats along.
"""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date

from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.shortcuts import render
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_safe

from nursery import access
from nursery.actions.yard import Yard
from nursery.forms.rounds import CHECKED_STAGES, RoundForm
from nursery.models import Place, Session, Stage
from nursery.models.half import HalfSeen, half_seen
from nursery.models.rounds import Stop, due_among, flats_of_round, stops_of
from nursery.views.round_lines import by_place, in_walking_order, lines_of
from nursery.views.sampling import SAMPLED, batches_due

FLATS_MOST = 400  # more is no walk, and more than a tablet should take along
SESSIONS_SHOWN = 20


@dataclass(frozen=True, slots=True)
class Asked:
    """What the round is chosen by. Without anything else, the flats that are due."""

    place: Place | None
    session: Session | None
    stage: str
    is_due: bool

    @property
    def is_narrowed(self) -> bool:
        return bool(self.place or self.session or self.stage)


@dataclass(frozen=True, slots=True)
class Pill:
    label: str
    url: str
    is_current: bool = False


@require_safe
def choose_round(request: HttpRequest) -> HttpResponse:
    """The flats of a round in walking order, and the button that takes them along."""
    asked, today = _asked(request), timezone.localdate()
    yard, halves = Yard.read(held={}), half_seen(today)
    sampled = request.session.get(SAMPLED, [])
    stops = in_walking_order(_stops(asked, yard, halves, today=today, sampled=sampled), yard)
    by_cell = [stop for stop in stops if not stop.is_pooled]
    taken = by_cell[:FLATS_MOST] + [stop for stop in stops if stop.is_pooled][:FLATS_MOST]
    lines = lines_of(taken, halves, today)
    tapped = [line for line in lines if not line.row.flat.is_pooled]
    codes = [line.row.flat.code for line in tapped]
    context = {
        "title": _title(asked),
        "asked": asked,
        "pills": _pills(asked, request.GET),
        "groups": by_place(tapped, yard),
        "numbered": [line for line in lines if line.row.flat.is_pooled],
        "empty_count": len(taken) - len(lines),
        "too_many": len(by_cell) if len(by_cell) > FLATS_MOST else 0,
        "most": FLATS_MOST,
        "start": ngettext("Start the round: %d flat", "Start the round: %d flats", len(codes)) % len(codes),
        "count": len(codes),
        "data": _data(_title(asked), codes),
        **_choices(asked, yard),
    }
    return render(request, "round/choose.html", context)


def _asked(request: HttpRequest) -> Asked:
    form = RoundForm(request.GET)
    if not form.is_valid():
        raise Http404
    said = form.cleaned_data
    place = access.place_for_reading(request.user, said["place"]) if said["place"] else None
    session = access.session_for_work(request.user, said["session"]) if said["session"] else None
    is_due = said["due"] or not (place or session or said["stage"])
    return Asked(place, session, said["stage"], is_due)


def _stops(
    asked: Asked, yard: Yard, halves: list[HalfSeen], *, today: date, sampled: Collection[str]
) -> list[Stop]:
    """Return the flats asked for; of a batch counted by a sample, only the sample is due."""
    places = [asked.place, *yard.inside(asked.place)] if asked.place else None
    flats = flats_of_round(places=places, session=asked.session, stage=asked.stage)
    if not asked.is_due:
        return stops_of(flats)
    half = {one.flat.pk for one in halves}
    passed_over = batches_due(today, sampled)[1] - half if sampled else set()
    due = due_among(flats, today, half=half)
    return [stop for stop in stops_of(due) if stop.flat_id not in passed_over]


def _title(asked: Asked) -> str:
    parts = [
        _("Due today") if asked.is_due else "",
        asked.place.name if asked.place else "",
        _session_said(asked.session) if asked.session else "",
        str(Stage(asked.stage).label) if asked.stage else "",
    ]
    return ", ".join(filter(None, parts))


def _session_said(session: Session) -> str:
    """Say a session by its day and bench: "session of 12 March, North bench"."""
    day = date_format(timezone.localtime(session.started_at), "j F")
    if session.place is None:
        return _("session of %(day)s") % {"day": day}
    return _("session of %(day)s, %(place)s") % {"day": day, "place": session.place}


def _pills(asked: Asked, query: QueryDict) -> list[Pill]:
    """Return what the round is chosen by; touching one leaves it out. What is due comes first."""
    pills = [Pill(_("Due today"), _address(query, due=None if asked.is_due else "on"), asked.is_due)]
    if asked.place:
        pills.append(Pill(asked.place.name, _address(query, place=None), True))
    if asked.session:
        pills.append(Pill(_session_said(asked.session), _address(query, session=None), True))
    if asked.stage:
        pills.append(Pill(str(Stage(asked.stage).label), _address(query, stage=None), True))
    return pills


def _address(query: QueryDict, **changed: str | None) -> str:
    """Return the address asked for with a part of it changed; None leaves it out."""
    known = {name: query[name] for name in RoundForm.base_fields if query.get(name)}
    address = QueryDict(mutable=True)
    address.update({name: value for name, value in (known | changed).items() if value})
    return f"?{address.urlencode()}"


def _choices(asked: Asked, yard: Yard) -> dict[str, object]:
    """Return what can be chosen: every place on the walk, the sessions held last, the stages."""
    sessions = list(Session.objects.select_related("place")[:SESSIONS_SHOWN])
    if asked.session and asked.session not in sessions:
        sessions.append(asked.session)
    return {
        "places": [(place, yard.said(place.pk)) for place in yard.walked()],
        "sessions": [(session, _session_said(session)) for session in sessions],
        "stages": [(stage.value, stage.label) for stage in CHECKED_STAGES],
    }


def _data(title: str, codes: list[str]) -> dict[str, object]:
    """Return what the page's script starts a round with."""
    return {
        "title": title,
        "codes": codes,
        "api": "/api/flats",
        "device": "/api/device",
        "check": "/check",
        "words": _words(),
    }


def _words() -> dict[str, str]:
    """Return the script's sentences, which it cannot translate itself; it fills in ``{…}``."""
    return {
        "isOpen": _("A round is open on this tablet: {title}, {done} of {all} flats done."),
        "goOn": _("Go on with the round"),
        "replaces": _("Starting another one ends it. Every mark made in it stays."),
        "taking": _("Taking the flats along: {n} of {all}"),
        "taken": _("{n} flats are on this tablet"),
        "missing": _("{code} is left out: {reason}"),
        "failed": _("The flats could not be fetched. Nothing was started; try again nearer to the network."),
        "login": _("Log in again, then start the round."),
        "noStore": _("This browser keeps nothing on the tablet. Check flat by flat from the list."),
        "full": _("The tablet's storage is full. Free some room, then start the round."),
    }
