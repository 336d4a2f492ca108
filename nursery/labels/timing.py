"""How fast labels are made, against the same work done plainly with the two libraries.

The floor draws a label as the manuals of the libraries do: the QR symbol by ``QRCode.make`` with the best
of its eight masks, one rectangle a run of dark modules, and the lines of text at fixed places. Ours
fits the text to the label as well. Both embed the same font and start with addresses never seen before.
"""

import random
from collections.abc import Callable, Sequence
from functools import partial
from io import BytesIO
from time import perf_counter
from typing import TYPE_CHECKING

from nursery.calc.codes import FLAT, new_code
from nursery.labels.content import FlatLabel
from nursery.labels.pdf import font_metrics, render_labels
from nursery.labels.sheet import positions
from nursery.labels.stocks import STOCKS, Stock

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

POINTS_A_MM = 72 / 25.4


def time_labels(count: int = 240, *, rounds: int = 3, seed: int = 0) -> list[dict[str, float]]:
    """Return for each round the labels a second: ``floor``, ``first`` print and ``reprint``.

    The three take turns within a round. Another ``seed`` has other codes: those of an earlier call in the
    same process would be remembered.
    """
    stock, rng = STOCKS["a4-70x37"], random.Random(seed)
    render_labels([_label(new_code(FLAT, rng))], stock)  # fonts and frames are loaded once a process
    plain_pdf([_label(new_code(FLAT, rng))], stock)
    found = []
    for _round in range(rounds):
        labels = [_label(new_code(FLAT, rng)) for _ in range(count)]
        found.append(
            {
                "floor": count / _seconds(partial(plain_pdf, labels, stock)),
                "first": count / _seconds(partial(render_labels, labels, stock)),
                "reprint": count / _seconds(partial(render_labels, labels, stock)),
            }
        )
    return found


def plain_pdf(labels: Sequence[FlatLabel], stock: Stock) -> bytes:
    """Return the floor's PDF: a QR symbol and four lines of text on each label."""
    from reportlab.pdfgen.canvas import Canvas

    font_metrics()  # loads the font
    out = BytesIO()
    width, height = stock.page_width_mm * POINTS_A_MM, stock.page_height_mm * POINTS_A_MM
    canvas = Canvas(out, pagesize=(width, height), pageCompression=1)
    current = 1
    for (page, place), label in zip(positions(stock, len(labels)), labels, strict=True):
        if page != current:
            canvas.showPage()
            current = page
        left, top = place.x_mm * POINTS_A_MM, height - place.y_mm * POINTS_A_MM
        _plain_symbol(canvas, label.address, left + 130, top - 12)
        for line, text in enumerate((label.code, label.scion, label.rootstock, label.grafted_on or "")):
            canvas.setFont("Label", 9)
            canvas.drawString(left + 13, top - 24 - 12 * line, text)
    canvas.save()
    return out.getvalue()


def _plain_symbol(canvas: "Canvas", address: str, left: float, top: float) -> None:
    from qrcode import QRCode, constants

    code = QRCode(error_correction=constants.ERROR_CORRECT_Q, border=0)
    code.add_data(address)
    code.make(fit=True)
    module = 0.5 * POINTS_A_MM
    for y, row in enumerate(code.modules):
        start = 0
        for x, dark in enumerate([*row, False]):
            if not dark:
                if x > start:
                    canvas.rect(
                        left + start * module, top - (y + 1) * module, (x - start) * module, module, 0, 1
                    )
                start = x + 1


def _label(code: str) -> FlatLabel:
    return FlatLabel(
        code=code,
        address=f"HTTP://192.168.1.20:8000/{code}",
        scion=f"Amber {code}",
        rootstock="Stonefoot",
        grafted_on="28 Mar 2026",
        grafters="Ana, Bo",
        count="72 plants",
        record_on="11 Apr 2026",
        farm="Windhollow Farm",
    )


def _seconds(make: Callable[[], bytes]) -> float:
    begun = perf_counter()
    make()
    return perf_counter() - begun
