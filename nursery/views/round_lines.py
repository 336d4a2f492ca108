"""The flats of a round in the order of a walk, place by place, each with why it is due and how it stands.

Places follow each other by their order on a walk, what stands in a place directly after it; flats of which
nobody noted where come last. Within a place the flats grafted first come first, then by their code.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from django.urls import reverse
from django.utils.http import urlencode
from django.utils.timezone import localtime
from django.utils.translation import gettext as _

from nursery.actions.yard import Yard
from nursery.models import Flat
from nursery.models.due import RECORD, due_runs
from nursery.models.half import HalfSeen
from nursery.models.rounds import Stop
from nursery.views.flat_rows import FlatRow, flat_rows


@dataclass(frozen=True, slots=True)
class RoundLine:
    """A flat of the round; ``why`` says what it is due for, ``half`` what was seen of it today."""

    row: FlatRow
    place_id: int | None
    age: int | None
    why: str
    half: str
    url: str


@dataclass(frozen=True, slots=True)
class RoundPlace:
    """A place of the walk with the flats that stand in it itself; ``name`` is empty where nobody noted it."""

    name: str
    lines: list[RoundLine]


def in_walking_order(stops: Iterable[Stop], yard: Yard) -> list[Stop]:
    rank = {place.pk: number for number, place in enumerate(yard.walked())}

    def walk(stop: Stop) -> tuple[object, ...]:
        at = rank.get(stop.place_id, len(rank)) if stop.place_id else len(rank)
        begun = stop.begun_at.timestamp() if stop.begun_at else 0.0
        return at, stop.grafted_on or date.max, begun, stop.code

    return sorted(stops, key=walk)


def lines_of(stops: Sequence[Stop], halves: Iterable[HalfSeen], today: date) -> list[RoundLine]:
    """Return a line for each flat in which something lives, in the order given."""
    keys = [stop.flat_id for stop in stops]
    flats = {flat.pk: flat for flat in Flat.objects.with_stage().filter(pk__in=keys)}
    rows = flat_rows(flats[key] for key in keys if key in flats)
    whys, half = _whys(keys, today), {one.flat.pk: one for one in halves}
    places = {stop.flat_id: stop.place_id for stop in stops}
    return [
        RoundLine(
            row=row,
            place_id=places[row.flat.pk],
            age=(today - row.grafted_on).days if row.grafted_on else None,
            why=whys.get(row.flat.pk, ""),
            half=_half_said(half.get(row.flat.pk)),
            url=_check_url(row.flat, half.get(row.flat.pk)),
        )
        for row in rows
        if row.alive
    ]


def by_place(lines: Iterable[RoundLine], yard: Yard) -> list[RoundPlace]:
    """Put the lines together that stand in one place; they come in the order of the walk."""
    found: dict[int | None, RoundPlace] = {}
    for line in lines:
        if line.place_id not in found:
            found[line.place_id] = RoundPlace(yard.said(line.place_id), [])
        found[line.place_id].lines.append(line)
    return list(found.values())


def _whys(keys: Sequence[int], today: date) -> Mapping[int, str]:
    """Say what each flat is due for; the record goes before the early look."""
    due = due_runs(today).filter(flat__in=keys).order_by().values_list("flat_id", "due")
    found: dict[int, str] = {}
    for flat_id, kind in due:
        found[flat_id] = kind if kind == RECORD else found.get(flat_id, kind)
    words = {RECORD: _("the check that makes the record")}
    return {flat_id: words.get(kind, _("an early look")) for flat_id, kind in found.items()}


def _half_said(half: HalfSeen | None) -> str:
    if half is None:
        return ""
    said = {
        "seen": half.seen,
        "plants": half.plants,
        "who": half.check.by_worker or half.check.sent_by or _("somebody"),
        "at": f"{localtime(half.check.opened_at):%H:%M}",
    }
    if half.is_open:
        return _("%(seen)d of %(plants)d seen, %(who)s since %(at)s") % said
    return _("%(seen)d of %(plants)d seen, %(who)s at %(at)s") % said


def _check_url(flat: Flat, half: HalfSeen | None) -> str:
    if flat.is_pooled:
        return reverse("flat-numbers", args=[flat.code])
    url = reverse("flat-check", args=[flat.code])
    return f"{url}?{urlencode({'goes_on': half.check.uuid})}" if half and half.is_open else url
