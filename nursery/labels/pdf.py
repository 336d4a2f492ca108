"""Drawing labels as a PDF; the only file that knows the PDF library (``timing.py`` races against it).

Millimetres from the top left become points from the bottom left here, once. The font is embedded, the
QR symbols are exact rectangles, and the same labels give the same bytes. The library is imported where it is
used: a worker that serves taps never loads it.
"""

from collections.abc import Iterable, Sequence
from functools import lru_cache
from io import BytesIO
from pathlib import Path
from threading import Lock
from typing import TYPE_CHECKING, Any

from nursery.calc.codes import spoken
from nursery.labels.boxes import Box, QrBox, RuleBox, TextBox
from nursery.labels.content import ENGLISH, Label, Words
from nursery.labels.fitting import MM_PER_POINT
from nursery.labels.layout import layout as place_boxes
from nursery.labels.qr import QUIET_MODULES, Level, symbol
from nursery.labels.sheet import Rect, positions
from nursery.labels.stocks import Stock
from nursery.labels.testpage import page_boxes

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

FONT_DIR = Path(__file__).resolve().parents[2] / "static" / "vendor" / "dejavu-2.37"
FONT_FILES = {False: "DejaVuSansCondensed.ttf", True: "DejaVuSansCondensed-Bold.ttf"}
_ONE_DRAWING = Lock()  # the library keeps the characters used per document on the shared font


class FontMetrics:
    """Widths and repertoire of the label font, regular and bold."""

    def __init__(self, faces: dict[bool, Any]) -> None:
        self._widths = {bold: _widths_em(face) for bold, face in faces.items()}

    def width_em(self, text: str, *, bold: bool) -> float:
        """Advance width at size 1; the font must have every character."""
        widths = self._widths[bold]
        return sum([widths[character] for character in text])

    def has(self, character: str) -> bool:
        """Whether both weights can draw the character."""
        return all(character in widths for widths in self._widths.values())


def _widths_em(face: Any) -> dict[str, float]:
    return {chr(code): face.getCharWidth(code) / 1000 for code in face.charToGlyph}


@lru_cache(maxsize=1)
def font_metrics() -> FontMetrics:
    """Load the label font, once a process."""
    from reportlab import rl_config
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    rl_config.useA85 = 0  # binary streams: smaller, and less to compute
    faces = {}
    for bold, name in FONT_FILES.items():
        font = TTFont(_font_name(bold), str(FONT_DIR / name))
        pdfmetrics.registerFont(font)
        faces[bold] = font.face
    return FontMetrics(faces)


def _font_name(bold: bool) -> str:
    return "LabelBold" if bold else "Label"


@lru_cache(maxsize=1024)
def layout(label: Label, stock: Stock, words: Words = ENGLISH) -> tuple[Box, ...]:
    """Return the boxes of one label in mm from its top left corner, set in the label font.

    Raises ValueError if the label does not fit on the stock.
    """
    return tuple(place_boxes(label, stock, font_metrics(), words))


def render_labels(labels: Iterable[Label], stock: Stock, *, start: int = 1, words: Words = ENGLISH) -> bytes:
    """Return a PDF of the labels, in their order.

    Parameters
    ----------
    labels : iterable of Label
        What to print, at least one.
    stock : Stock
        The paper; on a roll every label is a page of its own.
    start : int
        First position used on the first sheet, 1 to ``stock.per_page``.
    words : Words
        The words printed around the values.

    Returns
    -------
    bytes
        The PDF. Print it at 100 %; the file asks the viewer for that. Where a character does not print
        (``scripts.py`` says which do) stands a line to write on.

    Raises
    ------
    ValueError
        If there is no label, ``start`` is not on the sheet, or a label does not fit on the stock.
    """
    labels = list(labels)
    if not labels:
        raise ValueError("labels must hold at least one label")
    placed = [
        (page, place, layout(label, stock, words))
        for (page, place), label in zip(positions(stock, len(labels), start), labels, strict=True)
    ]
    with _ONE_DRAWING:
        return _draw(placed, stock, title=spoken(labels[0].code))


def render_test_page(stock: Stock, texts: Sequence[str] = (), *, is_inches: bool = False) -> bytes:
    """Return a PDF that shows where a printer puts labels, one page; see ``testpage.py``."""
    boxes = page_boxes(stock, texts, font_metrics(), is_inches=is_inches)
    page = Rect(0, 0, stock.page_width_mm, stock.page_height_mm)
    with _ONE_DRAWING:
        return _draw([(1, page, boxes)], stock, title=stock.name)


def _draw(placed: Sequence[tuple[int, Rect, Sequence[Box]]], stock: Stock, *, title: str) -> bytes:
    from reportlab.pdfgen.canvas import Canvas

    out = BytesIO()
    size = (stock.page_width_mm / MM_PER_POINT, stock.page_height_mm / MM_PER_POINT)
    canvas = Canvas(out, pagesize=size, pageCompression=1, invariant=1)
    canvas.setTitle(title)
    canvas.setCreator("Takebook")
    canvas.setViewerPreference("PrintScaling", "None")
    current = 1
    for page, place, boxes in placed:
        if page != current:
            canvas.showPage()
            current = page
        _draw_label(canvas, boxes, left_mm=place.x_mm, bottom_mm=stock.page_height_mm - place.y_mm)
    canvas.showPage()
    canvas.save()
    return out.getvalue()


def _draw_label(canvas: "Canvas", boxes: Sequence[Box], *, left_mm: float, bottom_mm: float) -> None:
    """Draw boxes whose origin lies ``left_mm`` from the left and ``bottom_mm`` from the bottom."""
    text = canvas.beginText()
    for box in boxes:
        left = (left_mm + box.rect.x_mm) / MM_PER_POINT
        top = (bottom_mm - box.rect.y_mm) / MM_PER_POINT
        if isinstance(box, TextBox):
            text.setFont(_font_name(box.bold), box.size_pt)
            text.setCharSpace(box.tracking_pt)
            _set_origin(text, box, left=left, top=top)
            text.textOut(box.text)
        elif isinstance(box, RuleBox):
            height = box.rect.height_mm / MM_PER_POINT
            canvas.rect(left, top - height, box.rect.width_mm / MM_PER_POINT, height, stroke=0, fill=1)
        else:
            _draw_qr(canvas, box, left=left, top=top)
    canvas.drawText(text)


def _set_origin(text: Any, box: TextBox, *, left: float, top: float) -> None:
    ascent = box.ascent_mm / MM_PER_POINT
    if box.is_turned:
        text.setTextTransform(0, -1, 1, 0, left + box.rect.width_mm / MM_PER_POINT - ascent, top)
    else:
        text.setTextOrigin(left, top - ascent)


def _draw_qr(canvas: "Canvas", box: QrBox, *, left: float, top: float) -> None:
    """Fill all runs as one path in units of a module, so that no seam shows between the rows."""
    from reportlab.pdfgen.pathobject import PDFPathObject

    module = box.module_mm / MM_PER_POINT
    canvas.saveState()
    canvas.transform(module, 0, 0, -module, left + QUIET_MODULES * module, top - QUIET_MODULES * module)
    canvas.drawPath(PDFPathObject(code=[_qr_path(box.address, box.level)]), stroke=0, fill=1)
    canvas.restoreState()


@lru_cache(maxsize=4096)
def _qr_path(address: str, level: Level) -> str:
    return " ".join(f"{column} {row} {length} 1 re" for column, row, length in symbol(address, level).runs())
