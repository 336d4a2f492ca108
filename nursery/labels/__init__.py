"""Labels: sheet geometry, what stands where, and the PDF; plain dataclasses in, bytes out.

``render_labels([FlatLabel(...), ...], STOCKS["a4-70x37"], start=5)`` returns a PDF. No database and no
settings are needed.
"""

from nursery.labels.content import CodeLabel, FlatLabel, Label, PlaceLabel, SowingLabel, Words
from nursery.labels.pdf import layout, render_labels, render_test_page
from nursery.labels.sheet import Rect, positions
from nursery.labels.stocks import STOCKS, Stock

__all__ = [
    "STOCKS",
    "CodeLabel",
    "FlatLabel",
    "Label",
    "PlaceLabel",
    "Rect",
    "SowingLabel",
    "Stock",
    "Words",
    "layout",
    "positions",
    "render_labels",
    "render_test_page",
]
