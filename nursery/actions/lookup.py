"""Find a flat whose label is lost: by where it stands, what was grafted when, and which cells are empty."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Exists, OuterRef, Q

from nursery.actions.ledger import FlatFacts, read_ledger
from nursery.calc.fold import fold_cell
from nursery.calc.pattern import Fit, fit, ranked, tied_first
from nursery.models import LEFT_STAGES, Cell, Flat, Pairing, Place, Run, TrayFormat

COMPARED_MOST = 300  # a few tenths of a second of reading


@dataclass(frozen=True, slots=True)
class Known:
    """What is known of the flat besides its pattern; all of it may be left out but the format."""

    shape: TrayFormat
    place: Place | None = None
    pairing: Pairing | None = None
    since: date | None = None
    until: date | None = None


@dataclass(frozen=True, slots=True)
class Found:
    """A flat that may be the one: how it fits, its places without a living plant, and those never used."""

    flat: Flat
    fit: Fit
    empty: frozenset[int]
    unused: frozenset[int]


@dataclass(frozen=True, slots=True)
class Answer:
    """Flats, best first. ``tied`` share the first place; ``is_cut`` if there were more than are compared."""

    flats: list[Found]
    tied: int
    is_cut: bool


def look_up(known: Known, tapped: Collection[int]) -> Answer:
    """Return the flats that stand on the farm and may be the one without a label."""
    newest = list(_candidates(known).order_by("-created_at", "-pk")[: COMPARED_MOST + 1])
    flats = {flat.pk: flat for flat in newest[:COMPARED_MOST]}
    facts = read_ledger(flats).flats
    unused = {pk: _unused(flat) for pk, flat in flats.items()}
    empty = {pk: empty_places(facts[pk]) | frozenset(flat.blank_places or []) for pk, flat in flats.items()}
    ranks = ranked({pk: fit(tapped, empty[pk], unused=unused[pk]) for pk in flats})
    found = [Found(flats[pk], fits, empty[pk], unused[pk]) for pk, fits in ranks]
    return Answer(found, tied_first(ranks), len(newest) > COMPARED_MOST)


def empty_places(facts: FlatFacts) -> frozenset[int]:
    """Return the places whose plant is dead or gone, or was moved on."""
    return frozenset(
        cell.place_no
        for cell in facts.cells
        if cell.is_present
        and (cell.moved_on or fold_cell(facts.marks.get(cell.id, [])).state in ("dead", "gone"))
    )


def _candidates(known: Known) -> Any:
    flats: Any = Flat.objects.kept().with_stage()  # with a stage, of which the types know nothing
    stays = Q(stage=None) | ~Q(stage__in=LEFT_STAGES)  # one that nobody ever moved has no stage
    grafted = Exists(Cell.objects.filter(flat=OuterRef("pk")))
    flats = flats.filter(stays, grafted, tray_format=known.shape)
    if known.place:
        flats = flats.filter(pk__in=Flat.objects.standing_in(_within(known.place)).values("pk"))
    runs: Mapping[str, object] = {
        name: value
        for name, value in {
            "pairing": known.pairing,
            "grafted_on__gte": known.since,
            "grafted_on__lte": known.until,
        }.items()
        if value
    }
    if runs:
        flats = flats.filter(Exists(Run.objects.filter(flat=OuterRef("pk"), **runs)))
    return flats.select_related("tray_format", "layout", "sowing__lot__cultivar")


def _within(place: Place) -> list[Place]:
    """Return a place and all that stands in it, however deep."""
    found, ring = [place], [place]
    while ring:
        ring = [one for one in Place.objects.filter(stands_in__in=ring) if one not in found]
        found += ring
    return found


def _unused(flat: Flat) -> frozenset[int]:
    if flat.tray_format is None or flat.layout is None:
        raise ValueError("a flat kept cell by cell has a format and a layout")
    rows, columns = flat.tray_format.rows, flat.tray_format.columns
    return frozenset(range(1, rows * columns + 1)) - set(flat.layout.used_places(rows, columns))
