"""What is to be moved, as an address or a form names it: flats, a place's content, a trolley, a session."""

from dataclasses import dataclass, field
from uuid import UUID

from django.http import Http404, HttpRequest
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from nursery import access
from nursery.actions.moves import Load, Sorting, content_of, flats_of_session, sort_flats
from nursery.actions.yard import Yard
from nursery.calc.codes import spoken
from nursery.models import Account, Place, Session


@dataclass(slots=True)
class Chosen:
    """``named`` are the words of the address, which the form sends back; ``back`` is where it came from."""

    load: Load = field(default_factory=Load)
    named: list[tuple[str, str]] = field(default_factory=list)
    back: str = ""
    content_of: Place | None = None
    session: Session | None = None
    is_whole: bool = False
    _sorted: Sorting | None = None

    @property
    def is_place(self) -> bool:
        """True if a place moves, which may come to stand in none."""
        return bool(self.load.places) and not self.content_of

    @property
    def sorted(self) -> Sorting:
        """The flats by whether they can be moved; looked up once."""
        self._sorted = self._sorted or sort_flats(self.load.flats)
        return self._sorted

    @property
    def is_empty(self) -> bool:
        return not (self.load.places or self.sorted.free)

    @property
    def said(self) -> str:
        """Name what is moved: "40 flats", "Trolley 3", "F3K-7QNX"."""
        return said_of(len(self.sorted.free), self.load.places, [flat.code for flat in self.sorted.free])

    def load_into(self, place: Place | None) -> Load:
        """Return what moves to a place: of a place's content what stands there already stays."""
        if self.content_of:
            return content_of(self.content_of, Yard.read(), to_place=place)
        return self.load


def said_of(flats: int, places: tuple[Place, ...] | list[Place], codes: list[str]) -> str:
    """Say flats by their number, or the code of a single one, and places by name."""
    parts = [place.name for place in places]
    if flats == 1 and len(codes) == 1:
        parts.append(spoken(codes[0]))
    elif flats:
        parts.append(ngettext("%d flat", "%d flats", flats) % flats)
    return _(" and ").join(parts)


def chosen_of(request: HttpRequest) -> Chosen:
    """Return what the address or the form names, perhaps nothing; 404 for what is not there."""
    said = request.POST if request.method == "POST" else request.GET
    if "session" in said:
        chosen = _session(request.user, said["session"], is_whole="whole" in said)
    elif "trolley" in said:
        place = access.place_for_reading(request.user, said["trolley"])
        chosen = Chosen(Load(places=(place,)), [("trolley", place.code)], reverse("code", args=[place.code]))
    elif "place" in said:
        place = access.place_for_reading(request.user, said["place"])
        load = content_of(place, Yard.read())
        named, back = [("place", place.code)], reverse("code", args=[place.code])
        chosen = Chosen(load, named, back, content_of=place)
    else:
        flats = access.flats_for_work(request.user, said.getlist("flat"))
        back = reverse("code", args=[flats[0].code]) if len(flats) == 1 else reverse("flat-list")
        chosen = Chosen(Load(tuple(flats)), [("flat", flat.code) for flat in flats], back)
    chosen.back = _safe(request, said.get("next", "")) or chosen.back
    return chosen


def _session(user: Account, key: str, *, is_whole: bool) -> Chosen:
    try:
        session = access.session_for_work(user, UUID(key))
    except ValueError as error:
        raise Http404 from error
    named = [("session", key), *([("whole", "1")] if is_whole else [])]
    load = Load(tuple(flats_of_session(session, is_whole=is_whole)))
    back = reverse("bench-session", args=[session.key])
    return Chosen(load, named, back, session=session, is_whole=is_whole)


def _safe(request: HttpRequest, address: str) -> str:
    """Return an address of this program, else nothing."""
    is_ours = url_has_allowed_host_and_scheme(address, {request.get_host()}, request.is_secure())
    return address if address and is_ours else ""
