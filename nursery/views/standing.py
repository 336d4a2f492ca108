"""How a flat stands, said and drawn: what its own page and the check have in common."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from nursery.actions.states import CellState
from nursery.actions.stock import RunStock, alive_in
from nursery.calc.places import place_name, spans_of
from nursery.models import Flat, Run
from nursery.views.drawing import DrawnCell, FlatDrawing, without_plants


@dataclass(frozen=True, slots=True)
class Standing:
    """Plants in the places of a flat, whoever grafted them; ``alive`` includes ``wilting``."""

    places: int
    alive: int
    wilting: int
    dead: int
    gone: int

    @property
    def said(self) -> str:
        """The numbers in one line of words."""
        parts = [ngettext("%d alive", "%d alive", self.alive) % self.alive]
        if self.wilting:
            parts[0] += _(", %d of them wilting") % self.wilting
        if self.dead:
            parts.append(ngettext("%d dead", "%d dead", self.dead) % self.dead)
        if self.gone:
            parts.append(ngettext("%d gone", "%d gone", self.gone) % self.gone)
        return ", ".join(parts)


def standing_of(cells: Collection[CellState], stock: Mapping[int, RunStock] | None = None) -> Standing:
    """Count the cells that are present; with the ``stock`` also what left, died or came by number."""
    states = [cell.state for cell in cells if cell.is_present]
    dead, gone = states.count("dead"), states.count("gone")
    if stock is None:
        return Standing(len(states), len(states) - dead - gone, states.count("wilting"), dead, gone)
    alive = alive_in(stock)
    earlier = sum(not cell.is_present for cell in cells if cell.state == "dead")
    moved_in = sum(run.moved_in for run in stock.values())
    dead = sum(run.dead for run in stock.values()) - earlier
    places = len(states) + moved_in
    return Standing(places, alive, min(states.count("wilting"), alive), dead, places - alive - dead)


def drawing_of(flat: Flat, cells: Iterable[CellState], **fields: object) -> FlatDrawing:
    """Return the drawing of a flat that bears ``cells``; where nothing was grafted there is no plant."""
    shape = flat.tray_format
    drawn = without_plants(flat.layout.used_places(shape.rows, shape.columns))
    present = [cell for cell in cells if cell.is_present]
    # One run needs no sign of its own; a large flat is a good deal smaller without it.
    shows_runs = len({cell.run_number for cell in present}) > 1
    for cell in present:
        drawn[cell.place_no] = DrawnCell(
            state=cell.state,
            cell=cell.public_id,
            before=cell.before if cell.before in ("dead", "wilting") else "",
            run=cell.run_number if shows_runs else 0,
            disagree=cell.disagreement,
        )
    return FlatDrawing(rows=shape.rows, columns=shape.columns, cells=drawn, **fields)


def pairings_said(runs: Sequence[Run]) -> str:
    """Name what is grafted on what: all pairings up to two, else their number."""
    names = list(dict.fromkeys(str(run.pairing) for run in runs))
    if len(names) > 2:
        return _("%d pairings") % len(names)
    return _(" and ").join(names)


def grafting_said(runs: Sequence[Run], today: date) -> str:
    """Say when a flat was grafted and how old that is: "grafted 12 March, day 7".

    What was grafted again later does not make the flat younger.
    """
    first = [run for run in runs if not run.is_regraft] or runs
    days = sorted({run.grafted_on for run in first})
    if not days:
        return ""
    if len(days) == 1:
        return _("grafted %(day)s, day %(age)d") % {
            "day": day_said(days[0], today),
            "age": (today - days[0]).days,
        }
    first, last = day_said(days[0], today), day_said(days[-1], today)
    return _("grafted %(first)s to %(last)s") % {"first": first, "last": last}


def day_said(day: date, today: date) -> str:
    """Say a day without its year where that is this year's."""
    if day.year == today.year:
        return date_format(day, "j F")
    return date_format(day, "j F Y")


def places_said(places: Sequence[int], columns: int) -> str:
    """Name places: neighbours in reading order as "A1 to A6", single ones by name."""
    names = []
    for first, last in spans_of(places):
        if first == last:
            names.append(place_name(first, columns))
        else:
            ends = {"first": place_name(first, columns), "last": place_name(last, columns)}
            names.append(_("%(first)s to %(last)s") % ends)
    return ", ".join(names)
