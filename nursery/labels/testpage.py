"""A page that shows where a printer puts what: outlines of all labels, a cross in each, and two rulers.

The rulers count from the page's left and top edges. On paper, mark 20 must lie 20 mm from the edge; where
it lies 21 mm away, a shift of -1 mm makes that good. The distance between two marks tells the scale. A
stock's shift moves all of it, so that a second print shows whether the shift was right.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from nursery.labels.boxes import Box, RuleBox
from nursery.labels.fitting import MM_PER_POINT, Metrics, Paragraph, fit_column, printable
from nursery.labels.layout import stacked
from nursery.labels.sheet import Rect, positions
from nursery.labels.stocks import Stock

HAIRLINE_MM = 0.2
CROSS_MM = 6.0
EDGE_MM = 6.0  # most desk printers leave 4 mm of the edge blank (common practice, no source)
NUMBER_PT = 6.0
RULER_MM = 9.0  # a long mark and its number
MM_PER_INCH = 25.4


@dataclass(frozen=True)
class Scale:
    """A ruler's marks: one every ``step_mm``, longer and numbered ones after so many."""

    step_mm: float
    middle: int
    long: int
    number_of_long: int


MILLIMETRES = Scale(step_mm=1.0, middle=5, long=10, number_of_long=10)
INCHES = Scale(step_mm=MM_PER_INCH / 16, middle=8, long=16, number_of_long=1)


def page_boxes(stock: Stock, texts: Sequence[str], metrics: Metrics, *, is_inches: bool) -> list[Box]:
    """Return the boxes of the test page, in mm from its top left corner; ``texts`` say how to read it."""
    places = [rect for _page, rect in positions(stock, stock.per_page)]
    scale = INCHES if is_inches else MILLIMETRES
    boxes: list[Box] = [bar for place in places for bar in (*_outline(place), *_cross(place))]
    boxes += _ruler_across(stock, scale, metrics)
    boxes += _ruler_down(stock, scale, metrics)
    is_room = len(places) > len(texts)
    columns = [[text] for text in texts] if is_room else [list(texts)]
    for column, place in zip(columns, places[-len(columns) :], strict=True):
        boxes += _texts(column, place, stock, metrics)
    return boxes


def _outline(place: Rect) -> Iterator[RuleBox]:
    x, y, line = place.x_mm, place.y_mm, HAIRLINE_MM
    yield RuleBox(Rect(x, y, place.width_mm, line))
    yield RuleBox(Rect(x, place.bottom_mm - line, place.width_mm, line))
    yield RuleBox(Rect(x, y, line, place.height_mm))
    yield RuleBox(Rect(place.right_mm - line, y, line, place.height_mm))


def _cross(place: Rect) -> Iterator[RuleBox]:
    x, y = place.x_mm + place.width_mm / 2, place.y_mm + place.height_mm / 2
    yield RuleBox(Rect(x - CROSS_MM / 2, y - HAIRLINE_MM / 2, CROSS_MM, HAIRLINE_MM))
    yield RuleBox(Rect(x - HAIRLINE_MM / 2, y - CROSS_MM / 2, HAIRLINE_MM, CROSS_MM))


def marks(length_mm: float, scale: Scale) -> list[tuple[float, float, str]]:
    """Return a ruler's marks: how far from the edge, how long, and the number at the long ones."""
    found = []
    first = int(edge_of(length_mm) / scale.step_mm) + 1
    for count in range(first, int((length_mm - edge_of(length_mm)) / scale.step_mm) + 1):
        is_long, is_middle = count % scale.long == 0, count % scale.middle == 0
        size = 4.0 if is_long else 2.5 if is_middle else 1.5
        number = str(count // scale.long * scale.number_of_long) if is_long else ""
        found.append((count * scale.step_mm, size, number))
    return found


def edge_of(length_mm: float) -> float:
    """Return how far from the page's edge a ruler lies: less on a small label."""
    return min(EDGE_MM, length_mm / 12)


def _ruler_across(stock: Stock, scale: Scale, metrics: Metrics) -> Iterator[Box]:
    top = edge_of(stock.page_height_mm) + stock.shift_y_mm
    for along, size, number in marks(stock.page_width_mm, scale):
        x = along + stock.shift_x_mm
        yield RuleBox(Rect(x - HAIRLINE_MM / 2, top, HAIRLINE_MM, size))
        yield from _number(number, x - 1.5, top + size, metrics)


def _ruler_down(stock: Stock, scale: Scale, metrics: Metrics) -> Iterator[Box]:
    left = edge_of(stock.page_width_mm) + stock.shift_x_mm
    corner = edge_of(stock.page_height_mm) + RULER_MM  # there the other ruler lies
    for along, size, number in marks(stock.page_height_mm, scale):
        if along < corner:
            continue
        y = along + stock.shift_y_mm
        yield RuleBox(Rect(left, y - HAIRLINE_MM / 2, size, HAIRLINE_MM))
        yield from _number(number, left + size + 0.5, y - 1.4, metrics)


def _number(number: str, x_mm: float, y_mm: float, metrics: Metrics) -> Sequence[Box]:
    wish = Paragraph(text=number, size_pt=NUMBER_PT, least_pt=NUMBER_PT, lines=1)
    return stacked(fit_column([wish], metrics, width_pt=40, height_pt=20), x_mm, y_mm)


def _texts(texts: Sequence[str], place: Rect, stock: Stock, metrics: Metrics) -> Sequence[Box]:
    """Set texts under the cross of a label, beside the ruler; none without room: the screen says it too."""
    pad_x, pad_y = max(stock.pad_x_mm, 1), max(stock.pad_y_mm, 1)
    ruler = edge_of(stock.page_width_mm) + stock.shift_x_mm + RULER_MM
    left = max(place.x_mm + pad_x, ruler)
    top = place.y_mm + place.height_mm / 2 + CROSS_MM / 2 + 0.5
    width, height = place.right_mm - pad_x - left, place.bottom_mm - pad_y - top
    wishes = [
        Paragraph(text=printable(text, metrics), size_pt=9, least_pt=5, lines=9, before_pt=2)
        for text in texts
    ]
    try:
        lines = fit_column(wishes, metrics, width_pt=width / MM_PER_POINT, height_pt=height / MM_PER_POINT)
    except ValueError:
        return []
    return stacked(lines, left, top)
