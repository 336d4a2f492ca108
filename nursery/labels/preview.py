"""One label as a picture for the screen, from the same boxes as the print."""

from html import escape

from nursery.labels.boxes import QrBox, TextBox
from nursery.labels.content import ENGLISH, Label, Words
from nursery.labels.fitting import MM_PER_POINT
from nursery.labels.pdf import font_metrics, layout
from nursery.labels.qr import symbol
from nursery.labels.sheet import Rect, positions
from nursery.labels.stocks import Stock


def label_svg(label: Label, stock: Stock, words: Words = ENGLISH) -> str:
    """Return an SVG drawing of one label, 1 unit = 1 mm; all text in it is escaped.

    Raises ValueError if the label does not fit on the stock.
    """
    shapes = [_shape(box) for box in layout(label, stock, words)]
    size = f"0 0 {stock.label_width_mm:g} {stock.label_height_mm:g}"
    return f'<svg class="label-picture" viewBox="{size}" aria-hidden="true">{"".join(shapes)}</svg>'


def sheet_svg(stock: Stock) -> str:
    """Return an SVG drawing of a page with its labels numbered as they are filled, 1 unit = 1 mm.

    The first label shows its blank edge; the part of a stake tag that goes into the soil is marked.
    """
    places = [rect for _page, rect in positions(stock, stock.per_page)]
    shapes = [_outline("page", Rect(0, 0, stock.page_width_mm, stock.page_height_mm))]
    for number, place in enumerate(places, 1):
        shapes.append(_outline("label", place))
        if stock.soil_mm:
            top = place.bottom_mm - stock.soil_mm
            shapes.append(_outline("soil", Rect(place.x_mm, top, place.width_mm, stock.soil_mm)))
        size = min(place.width_mm / 3, place.height_mm / 2, 12)
        middle = place.y_mm + (place.height_mm - stock.soil_mm) / 2 + size / 3
        shapes.append(
            f'<text x="{place.x_mm + place.width_mm / 2:.2f}" y="{middle:.2f}" font-size="{size:.2f}" '
            f'text-anchor="middle">{number}</text>'
        )
    shapes.append(_outline("edge", _inside(stock, places[0])))
    view = f"-2 -2 {stock.page_width_mm + 4:g} {stock.page_height_mm + 4:g}"
    drawn = "".join(shapes)
    return f'<svg class="sheet-picture" stroke-width="0.5" viewBox="{view}" aria-hidden="true">{drawn}</svg>'


def _inside(stock: Stock, place: Rect) -> Rect:
    """Return a label without its blank edge."""
    pad_x, pad_y = stock.pad_x_mm, stock.pad_y_mm
    return Rect(
        place.x_mm + pad_x, place.y_mm + pad_y, place.width_mm - 2 * pad_x, place.height_mm - 2 * pad_y
    )


def _outline(kind: str, rect: Rect) -> str:
    return (
        f'<rect class="{kind}" x="{rect.x_mm:.2f}" y="{rect.y_mm:.2f}" '
        f'width="{rect.width_mm:.2f}" height="{rect.height_mm:.2f}"/>'
    )


def _shape(box: object) -> str:
    if isinstance(box, TextBox):
        return _text(box)
    if isinstance(box, QrBox):
        return _symbol(box)
    rect = box.rect  # type: ignore[attr-defined]
    return (
        f'<rect x="{rect.x_mm:.2f}" y="{rect.y_mm:.2f}" '
        f'width="{rect.width_mm:.2f}" height="{rect.height_mm:.2f}"/>'
    )


def _text(box: TextBox) -> str:
    size = box.size_pt * MM_PER_POINT
    metrics = font_metrics()
    width = sum(metrics.width_em(character, bold=box.bold) for character in box.text) * size
    width += box.tracking_pt * MM_PER_POINT * (len(box.text) - 1)
    weight = ' font-weight="700"' if box.bold else ""
    if box.is_turned:
        place = (
            f'transform="translate({box.rect.right_mm - box.ascent_mm:.2f} {box.rect.y_mm:.2f}) rotate(90)"'
        )
    else:
        place = f'x="{box.rect.x_mm:.2f}" y="{box.rect.y_mm + box.ascent_mm:.2f}"'
    return (
        f'<text {place} font-size="{size:.2f}"{weight} direction="ltr" unicode-bidi="bidi-override" '
        f'textLength="{width:.2f}" lengthAdjust="spacingAndGlyphs">'
        f"{escape(box.text)}</text>"
    )


def _symbol(box: QrBox) -> str:
    side = box.module_mm
    quiet = 4 * side
    path = "".join(
        f"M{box.rect.x_mm + quiet + column * side:.2f} {box.rect.y_mm + quiet + row * side:.2f}"
        f"h{length * side:.2f}v{side:.2f}h-{length * side:.2f}z"
        for column, row, length in symbol(box.address, box.level).runs()
    )
    return f'<path d="{path}"/>'
