"""What goes where on one label: plain boxes in mm from the label's top left corner.

The QR symbol stands at the right with its quiet zone, the farm's name under it. The text column at the
left reads from the top: code, then what the plants are; from the bottom: when, by whom, how many.

On a stake tag the symbol stands at the top end, above the soil, and the same column lies turned under it,
down to the line up to which the tag is stuck in.
"""

from collections.abc import Sequence
from dataclasses import replace

from nursery.labels import wording
from nursery.labels.boxes import Box, QrBox, RuleBox, TextBox, turned
from nursery.labels.content import CodeLabel, Label, Words
from nursery.labels.fitting import LINE_EM, MM_PER_POINT, Line, Metrics, Paragraph, fit_column, printable
from nursery.labels.qr import QUIET_MODULES, Level, Symbol, symbol
from nursery.labels.scripts import in_print_order
from nursery.labels.sheet import Rect
from nursery.labels.stocks import TOLERANCE_MM, Stock

LEAST_MODULE_MM = 0.5
LARGEST_MODULE_MM = 1.0
MODULE_STEP_MM = 0.125  # one dot of a label printer with 8 dots a mm (203 dpi)
QR_SHARE_MOST = 0.5  # of the width, where level Q needs it
QR_SHARE_WISHED = 0.4  # of the width, up to which modules grow
GUTTER_MM = 1.0
RULE_MM = 0.25
RULE_GAP_MM = 1.0
WRITING_LINE_MM = 7.0
DESIGN_HEIGHT_MM = 29.0  # of the text column for which the wished sizes are meant
LARGEST_SCALE = 1.6
THIRD_LINE_SCALE = 1.4
TWO_LINES_MM = 28.0  # a stake tag of this width has room for names on two lines, and for the farm


def layout(label: Label, stock: Stock, metrics: Metrics, words: Words) -> list[Box]:
    """Return the boxes of one label; none leaves the label, none overlaps another.

    Raises ValueError if the address, or what must stay of the text, does not fit on the stock.
    """
    inside = Rect(
        stock.pad_x_mm,
        stock.pad_y_mm,
        stock.label_width_mm - 2 * stock.pad_x_mm,
        stock.label_height_mm - 2 * stock.pad_y_mm,
    )
    if stock.soil_mm:
        return _stake(label, replace(inside, height_mm=inside.height_mm - stock.soil_mm), metrics, words)
    qr = place_qr(label.address, inside)
    column = Rect(inside.x_mm, inside.y_mm, qr.rect.x_mm - GUTTER_MM - inside.x_mm, inside.height_mm)
    wishes = wording.paragraphs(label, words)
    text = _text_column(wishes, column, metrics)
    lines = _writing_lines(text[-1].rect.bottom_mm, column) if isinstance(label, CodeLabel) else []
    return [qr, *_farm(label, qr, inside, metrics), *text, *lines]


def _stake(label: Label, above: Rect, metrics: Metrics, words: Words) -> list[Box]:
    """Return the boxes of a stake tag; ``above`` is what stays above the soil, the blank edge left out."""
    qr = place_qr(label.address, above, most_mm=above.width_mm, wished_mm=above.width_mm)
    top = qr.rect.bottom_mm + GUTTER_MM
    soil_line = RuleBox(Rect(above.x_mm, above.bottom_mm - RULE_MM, above.width_mm, RULE_MM))
    column = Rect(0, 0, soil_line.rect.y_mm - RULE_GAP_MM - top, above.width_mm)
    farm = replace(wording.farm(label), lines=1, may_go=3, at_foot=not isinstance(label, CodeLabel))
    wishes = wording.paragraphs(label, words)
    if above.width_mm < TWO_LINES_MM:
        wishes = [replace(wish, lines=1) for wish in wishes]
    else:
        wishes.append(farm)
    text = _text_column(wishes, column, metrics)
    lines = _writing_lines(text[-1].rect.bottom_mm, column) if isinstance(label, CodeLabel) else []
    return [qr, *(turned(box, above.right_mm, top) for box in (*text, *lines)), soil_line]


def place_qr(
    address: str, inside: Rect, *, most_mm: float | None = None, wished_mm: float | None = None
) -> QrBox:
    """Put the symbol at the top right: level Q where it fits with modules of 0.5 mm, else M.

    ``most_mm`` is the side that it may take, ``wished_mm`` up to which its modules grow. Raises ValueError if
    not even M fits.
    """
    levels: tuple[Level, ...] = ("Q", "M")
    room = min(inside.height_mm, most_mm or inside.width_mm * QR_SHARE_MOST)
    for level in levels:
        code = symbol(address, level)
        if code.full_side * LEAST_MODULE_MM <= room + TOLERANCE_MM:
            module = _module(code, min(inside.height_mm, wished_mm or inside.width_mm * QR_SHARE_WISHED))
            side = code.full_side * module
            return QrBox(Rect(inside.right_mm - side, inside.y_mm, side, side), address, level, module)
    raise ValueError(f"the address needs a larger label or must be shorter: {address}")


def _module(code: Symbol, room_mm: float) -> float:
    steps = int(room_mm / code.full_side / MODULE_STEP_MM + 1e-9)
    return max(LEAST_MODULE_MM, min(LARGEST_MODULE_MM, steps * MODULE_STEP_MM))


def _text_column(paragraphs: Sequence[Paragraph], column: Rect, metrics: Metrics) -> list[TextBox | RuleBox]:
    """Return the head at the top and the foot at the bottom, a thin rule between them."""
    wishes = [_ready(p, metrics, scale=_scale(column)) for p in paragraphs]
    rule_mm = RULE_MM + 2 * RULE_GAP_MM if any(p.at_foot for p in wishes) else 0.0
    lines = fit_column(
        wishes,
        metrics,
        width_pt=column.width_mm / MM_PER_POINT,
        height_pt=(column.height_mm - rule_mm) / MM_PER_POINT,
    )
    head = [line for line in lines if not line.style.at_foot]
    foot = [line for line in lines if line.style.at_foot]
    if not foot:
        return [*stacked(head, column.x_mm, column.y_mm)]
    foot_mm = MM_PER_POINT * sum(line.before_pt + line.height_pt for line in foot)
    foot_top = column.bottom_mm - foot_mm
    rule = RuleBox(Rect(column.x_mm, foot_top - RULE_GAP_MM - RULE_MM, column.width_mm, RULE_MM))
    return [*stacked(head, column.x_mm, column.y_mm), rule, *stacked(foot, column.x_mm, foot_top)]


def _scale(room: Rect) -> float:
    return min(LARGEST_SCALE, room.height_mm / DESIGN_HEIGHT_MM)


def _ready(paragraph: Paragraph, metrics: Metrics, *, scale: float) -> Paragraph:
    """Clean the text; on a large label it grows, and two lines may be three."""
    large = scale >= THIRD_LINE_SCALE
    return replace(
        paragraph,
        text=printable(paragraph.text, metrics),
        size_pt=paragraph.size_pt * scale,
        lines=paragraph.lines + 1 if large and paragraph.lines > 1 else paragraph.lines,
    )


def stacked(lines: Sequence[Line], x_mm: float, y_mm: float) -> list[TextBox]:
    """Set lines one under the other, left edges at x, the first one's top at y."""
    boxes = []
    for line in lines:
        y_mm += line.before_pt * MM_PER_POINT
        height_mm = line.height_pt * MM_PER_POINT
        boxes.append(
            TextBox(
                rect=Rect(x_mm, y_mm, line.width_pt * MM_PER_POINT, height_mm),
                text=in_print_order(line.text, paragraph=line.style.text),
                size_pt=line.size_pt,
                ascent_mm=line.ascent_pt * MM_PER_POINT,
                bold=line.style.bold,
                tracking_pt=line.style.tracking_em * line.size_pt,
            )
        )
        y_mm += height_mm
    return boxes


def _farm(label: Label, qr: QrBox, inside: Rect, metrics: Metrics) -> list[TextBox]:
    """Return the farm's name under the symbol, if there is room for it."""
    left_mm = qr.rect.x_mm + QUIET_MODULES * qr.module_mm
    width_pt = (inside.right_mm - left_mm) / MM_PER_POINT
    height_pt = (inside.bottom_mm - qr.rect.bottom_mm) / MM_PER_POINT
    wish = _ready(wording.farm(label), metrics, scale=_scale(inside))
    lines_that_fit = min(wish.lines, int(height_pt / (wish.least_pt * LINE_EM)))
    if not wish.text or not lines_that_fit:
        return []
    wish = replace(wish, lines=lines_that_fit)
    lines = fit_column([wish], metrics, width_pt=width_pt, height_pt=height_pt)
    set_mm = sum(line.height_pt for line in lines) * MM_PER_POINT
    return stacked(lines, left_mm, inside.bottom_mm - set_mm)


def _writing_lines(below_mm: float, column: Rect) -> list[RuleBox]:
    """Return lines for a pencil from the bottom of the column up to what stands above."""
    count = int((column.bottom_mm - below_mm) / WRITING_LINE_MM)
    return [
        RuleBox(Rect(column.x_mm, column.bottom_mm - RULE_MM - n * WRITING_LINE_MM, column.width_mm, RULE_MM))
        for n in range(count)
    ]
