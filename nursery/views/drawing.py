"""Draw a flat as HTML: the one place that knows how, for the flat's page, the check and the bench.

A flat of 288 cells by a template loop costs some 10 ms; joined f-strings cost a hundredth of that. Nothing is
escaped cell by cell: numbers are numbers, states and ids are checked against what they may be, and the words
for the states are escaped once for each drawing.

The look is in ``static/css/flat.css`` and ``runs.css``; the shape is

    .flat#flat[data-rows][data-columns] > .flat-grid > .flat-corner .flat-col* (.flat-row .cell*)*

A cell is ``button.cell`` where it can be tapped, else ``span.cell``, with ``data-place`` (17), ``data-cell``
(the public id: "17" for the first graft in place 17, "17.2" for the second), ``data-state``, and where it
applies ``data-before``, ``data-run`` (1 to 8, then again from 1), ``data-disagree``, ``data-moves`` ("out",
"in"), ``aria-pressed`` and ``aria-label`` ("B5, dead").
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from nursery.calc.places import place_name

BLANK, UNUSED = "blank", "unused"
STATE_WORDS = {
    "unmarked": gettext_lazy("alive"),
    "firm": gettext_lazy("alive"),
    "wilting": gettext_lazy("wilting"),
    "dead": gettext_lazy("dead"),
    "gone": gettext_lazy("gone"),
    BLANK: gettext_lazy("no plant"),
    UNUSED: gettext_lazy("not used"),
}
RUN_SIGNS = 8
WIDE_COLUMNS = 20  # a wider flat is drawn with cells below a full touch target, and can be enlarged
_PUBLIC_ID = re.compile(r"\d{1,4}(\.\d{1,3})?", re.ASCII)


@dataclass(frozen=True, slots=True)
class DrawnCell:
    """What is seen of one place.

    ``cell`` is the public id of the graft in it, "" where there is none; ``before`` its state when the day
    began; ``run`` the number of its run, 0 for none; ``pressed`` tells a choice, None where there is none;
    ``moves`` is "out" or "in" where a plant would go or come.
    """

    state: str = "unmarked"
    cell: str = ""
    before: str = ""
    run: int = 0
    disagree: bool = False
    pressed: bool | None = None
    moves: str = ""


@dataclass(frozen=True, slots=True)
class FlatDrawing:
    """A flat to draw. Places that ``cells`` does not hold are drawn as not used.

    ``taps``: cells are buttons, but for the states in ``still``. ``heads``: row letters are buttons too, and
    the label corner is one for all.
    ``terse``: no quotes, no ``data-place`` and no ``aria-label``, which the script of the page sets before it
    listens (two fifths of the bytes of a large flat).
    ``signs`` = "runs" shows the letter of the run instead of a dot.
    ``summary`` says the flat in words where cells cannot be tapped: the drawing is then one picture.
    """

    rows: int
    columns: int
    cells: Mapping[int, DrawnCell] = field(default_factory=dict)
    taps: bool = False
    heads: bool = False
    terse: bool = False
    still: tuple[str, ...] = (UNUSED,)
    signs: str = ""
    summary: str = ""
    dom_id: str = "flat"


def cell_id(place_no: int, graft_no: int = 1) -> str:
    """Return the public id of a graft in a place."""
    return f"{place_no}" if graft_no == 1 else f"{place_no}.{graft_no}"


def run_sign(number: int) -> int:
    """Return the sign of a run, 1 to 8 and then again from 1."""
    return (int(number) - 1) % RUN_SIGNS + 1


def draw_flat(drawing: FlatDrawing) -> SafeString:
    """Return the flat as HTML.

    Raises
    ------
    ValueError
        If a state or a public id is not one that exists.
    """
    words = {state: escape(str(word)) for state, word in STATE_WORDS.items()}
    words["dead before"] = escape(_("dead since an earlier check"))
    parts = [_opening(drawing)]
    parts += [f'<span class="flat-col">{column}</span>' for column in range(1, drawing.columns + 1)]
    unused = DrawnCell(state=UNUSED)
    place_no = 0
    for row in range(drawing.rows):
        parts.append(_row_head(chr(ord("A") + row), drawing))
        for _column in range(drawing.columns):
            place_no += 1
            parts.append(_cell(place_no, drawing.cells.get(place_no, unused), drawing, words))
    parts.append("</div></div>")
    # Safe: built of numbers, checked words and escaped text alone.
    return mark_safe("".join(parts))


def _opening(drawing: FlatDrawing) -> str:
    signs = ' data-signs="runs"' if drawing.signs == "runs" else ""
    box = f'<div class="flat" id="{escape(drawing.dom_id)}" data-rows="{drawing.rows}"'
    box += f' data-columns="{drawing.columns}"{signs}'
    if drawing.taps:
        name = escape(drawing.summary or _("The flat, label corner at the top left"))
        role = f' role="group" aria-label="{name}"'
    else:
        # Without a tap the drawing is one picture; what it says stands in words as well.
        role = f' role="img" aria-label="{escape(drawing.summary)}"' if drawing.summary else ""
        box += ' tabindex="0"'  # a wide flat is pushed sideways by the keyboard too
    corner = '<span class="flat-corner"></span>'
    if drawing.taps and drawing.heads:
        corner = f'<button class="flat-corner" data-all>{escape(_("All"))}</button>'
    return f'{box}><div class="flat-grid"{role}>{corner}'


def _row_head(letter: str, drawing: FlatDrawing) -> str:
    if drawing.taps and drawing.heads:
        name = escape(_("Row %s") % letter)
        return f'<button class="flat-row" data-row="{letter}" aria-label="{name}">{letter}</button>'
    return f'<span class="flat-row">{letter}</span>'


def _cell(place_no: int, cell: DrawnCell, drawing: FlatDrawing, words: Mapping[str, str]) -> str:
    state = cell.state
    if state not in words or state == "dead before":
        raise ValueError(f"state must be one of {', '.join(STATE_WORDS)}, got {state!r}")
    rare = cell.before or cell.run or cell.disagree or cell.moves or cell.pressed is not None
    more = _rarer(cell) if rare else ""
    known = _identity(place_no, cell.cell, drawing.terse)
    if not drawing.taps:
        return f'<span class="cell"{known} data-state="{state}"{more}></span>'
    if state in drawing.still:
        return f'<span class="cell" data-state="{state}"{more}></span>'
    if drawing.terse:
        return f"<button class=cell{known} data-state={state}{more}></button>"
    said = words["dead before"] if state == cell.before == "dead" else words[state]
    name = f"{place_name(place_no, drawing.columns)}, {said}"
    return f'<button class="cell"{known} data-state="{state}"{more} aria-label="{name}"></button>'


def _identity(place_no: int, public_id: str, terse: bool) -> str:
    if public_id and not _PUBLIC_ID.fullmatch(public_id):
        raise ValueError(f"a cell's id must look like 17 or 17.2, got {public_id!r}")
    if terse:
        return f" data-cell={public_id}" if public_id else ""
    return f' data-place="{place_no}"' + (f' data-cell="{public_id}"' if public_id else "")


def _rarer(cell: DrawnCell) -> str:
    text = ""
    if cell.before:
        if cell.before not in STATE_WORDS:
            raise ValueError(f"before must be one of {', '.join(STATE_WORDS)}, got {cell.before!r}")
        text += f' data-before="{cell.before}"'
    if cell.run:
        text += f' data-run="{run_sign(cell.run)}"'
    if cell.disagree:
        text += " data-disagree"
    if cell.moves:
        text += ' data-moves="in"' if cell.moves == "in" else ' data-moves="out"'
    if cell.pressed is not None:
        text += f' aria-pressed="{"true" if cell.pressed else "false"}"'
    return text


def without_plants(used_places: Iterable[int]) -> dict[int, DrawnCell]:
    """Return the used places of a flat as places without a plant, to lay grafts over."""
    blank = DrawnCell(state=BLANK)
    return dict.fromkeys(used_places, blank)
