"""The label papers that Takebook knows: how large the page is and where its labels sit.

A stock is named by its measures. Lengths are millimetres, the origin is the top left corner of the
page. A roll is a page that holds one label. Sheets of one measure are cut alike by most makers:
margins are common practice, no source; a print on plain paper held behind the sheet tells. A stake tag
stands upright on the page; the last ``soil_mm`` of it go into the soil and stay blank (common practice,
no source: a good third of the tag).
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

TOLERANCE_MM = 1e-6
PAGES_MM = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}  # ISO 216; ANSI/ASME Y14.1

Axis = Literal["x", "y"]


@dataclass(frozen=True, kw_only=True)
class Fault:
    """One rule that a stock breaks; ``needs_mm`` and ``has_mm`` are the two lengths that do not agree.

    ``start``: a count, size or margin below its least. ``pitch``: labels overlap. ``page``: they leave the
    page. ``pad``: the blank edges leave nothing of the label. ``shift``: the shifted print leaves the
    page. ``soil``: nothing of the tag stays above the soil.
    """

    kind: Literal["start", "pitch", "page", "pad", "shift", "soil"]
    axis: Axis
    needs_mm: float
    has_mm: float

    def __str__(self) -> str:
        word = {"x": "columns", "y": "rows"}[self.axis]
        return {
            "start": f"{word} need a count from 1, a size and a margin from 0",
            "pitch": f"{word} overlap, pitch {self.has_mm} mm, label {self.needs_mm} mm",
            "page": f"{word} leave the page of {self.has_mm} mm",
            "pad": f"the blank edges leave no room on the label ({word})",
            "shift": f"{word} leave the page when shifted by {self.needs_mm} mm",
            "soil": "no part of the tag stays above the soil",
        }[self.kind]


class StockError(ValueError):
    """A paper that cannot be; ``faults`` says why, one rule a fault."""

    def __init__(self, name: str, faults: tuple[Fault, ...]) -> None:
        super().__init__(f"{name}: " + "; ".join(map(str, faults)))
        self.faults = faults


@dataclass(frozen=True, kw_only=True)
class Stock:
    """One kind of label paper.

    Parameters
    ----------
    name : str
        Short name for commands and forms, such as ``a4-70x37``.
    paper : str
        What the printer is told to load: ``A4``, ``Letter`` or ``roll``.
    page_width_mm, page_height_mm : float
        Size of the page, mm.
    label_width_mm, label_height_mm : float
        Size of one label, mm.
    columns, rows : int
        Labels across and down, each at least 1.
    left_mm, top_mm : float
        From the corner of the page to the corner of the first label, mm, at least 0.
    pitch_x_mm, pitch_y_mm : float
        From one label to the next, mm, at least the label's own size; 0 where there is no next.
    pad_x_mm, pad_y_mm : float
        Blank edge inside every label, mm: what the printer cannot reach or may shift.
    shift_x_mm, shift_y_mm : float
        How far the whole print is moved right and down, mm, to make good what a printer shifts.
    soil_mm : float
        Of a stake tag: the lower end that goes into the soil, mm; 0 for any other label.

    Raises
    ------
    StockError
        If a label would leave the page, overlap another or be all edge; with every fault.
    """

    name: str
    paper: str
    page_width_mm: float
    page_height_mm: float
    label_width_mm: float
    label_height_mm: float
    columns: int = 1
    rows: int = 1
    left_mm: float = 0.0
    top_mm: float = 0.0
    pitch_x_mm: float = 0.0
    pitch_y_mm: float = 0.0
    pad_x_mm: float = 2.0
    pad_y_mm: float = 2.0
    shift_x_mm: float = 0.0
    shift_y_mm: float = 0.0
    soil_mm: float = 0.0

    def __post_init__(self) -> None:
        faults = (*_faults(_Line.across(self)), *_faults(_Line.down(self)), *_soil_faults(self))
        if faults:
            raise StockError(self.name, faults)

    @property
    def per_page(self) -> int:
        """Labels on a page."""
        return self.columns * self.rows


@dataclass(frozen=True)
class _Line:
    """A stock's measures along one edge of the page."""

    axis: Axis
    page: float
    count: int
    size: float
    start: float
    pitch: float
    pad: float
    shift: float

    @classmethod
    def across(cls, s: Stock) -> "_Line":
        row = (s.columns, s.label_width_mm, s.left_mm, s.pitch_x_mm, s.pad_x_mm, s.shift_x_mm)
        return cls("x", s.page_width_mm, *row)

    @classmethod
    def down(cls, s: Stock) -> "_Line":
        column = (s.rows, s.label_height_mm, s.top_mm, s.pitch_y_mm, s.pad_y_mm, s.shift_y_mm)
        return cls("y", s.page_height_mm, *column)


def _faults(line: _Line) -> Iterator[Fault]:
    axis = line.axis
    if line.count < 1 or line.size <= 0 or line.start < 0:
        yield Fault(kind="start", axis=axis, needs_mm=line.size, has_mm=line.start)
        return
    if line.count > 1 and line.pitch < line.size - TOLERANCE_MM:
        yield Fault(kind="pitch", axis=axis, needs_mm=line.size, has_mm=line.pitch)
    end = line.start + (line.count - 1) * line.pitch + line.size
    if end > line.page + TOLERANCE_MM:
        yield Fault(kind="page", axis=axis, needs_mm=end, has_mm=line.page)
        return
    if line.pad < 0 or 2 * line.pad >= line.size:
        yield Fault(kind="pad", axis=axis, needs_mm=2 * line.pad, has_mm=line.size)
        return
    room = line.start + line.pad if line.shift < 0 else line.page - end + line.pad
    if abs(line.shift) > room + TOLERANCE_MM:
        yield Fault(kind="shift", axis=axis, needs_mm=line.shift, has_mm=room)


def _soil_faults(stock: Stock) -> Iterator[Fault]:
    above = stock.label_height_mm - 2 * stock.pad_y_mm
    if stock.soil_mm < 0 or (stock.soil_mm and stock.soil_mm >= above):
        yield Fault(kind="soil", axis="y", needs_mm=stock.soil_mm, has_mm=above)


# Desk printers leave about 4 mm of the page's edge blank (common practice, no source), so labels that
# touch it keep their ink further inside.
_BUILT_IN = (
    Stock(
        name="a4-70x37",
        paper="A4",
        page_width_mm=210,
        page_height_mm=297,
        label_width_mm=70,
        label_height_mm=37,
        columns=3,
        rows=8,
        top_mm=0.5,
        pitch_x_mm=70,
        pitch_y_mm=37,
        pad_x_mm=4.5,
        pad_y_mm=4,
    ),
    Stock(
        name="a4-99x57",
        paper="A4",
        page_width_mm=210,
        page_height_mm=297,
        label_width_mm=99.1,
        label_height_mm=57,
        columns=2,
        rows=5,
        left_mm=4.65,
        top_mm=6,
        pitch_x_mm=101.6,
        pitch_y_mm=57,
        pad_x_mm=3,
        pad_y_mm=3,
    ),
    Stock(
        name="letter-4x2in",
        paper="Letter",
        page_width_mm=215.9,
        page_height_mm=279.4,
        label_width_mm=101.6,
        label_height_mm=50.8,
        columns=2,
        rows=5,
        left_mm=3.96875,
        top_mm=12.7,
        pitch_x_mm=106.3625,
        pitch_y_mm=50.8,
        pad_x_mm=3,
        pad_y_mm=3,
    ),
    Stock(
        name="roll-57x32",
        paper="roll",
        page_width_mm=57,
        page_height_mm=32,
        label_width_mm=57,
        label_height_mm=32,
        pad_x_mm=1.5,
        pad_y_mm=1.5,
    ),
    Stock(
        name="stake-25x125",
        paper="roll",
        page_width_mm=25,
        page_height_mm=125,
        label_width_mm=25,
        label_height_mm=125,
        pad_x_mm=1.5,
        pad_y_mm=1.5,
        soil_mm=45,
    ),
    Stock(
        name="a4-stake-25x125",
        paper="A4",
        page_width_mm=210,
        page_height_mm=297,
        label_width_mm=25,
        label_height_mm=125,
        columns=8,
        rows=2,
        left_mm=5,
        top_mm=23.5,
        pitch_x_mm=25,
        pitch_y_mm=125,
        soil_mm=45,
    ),
    Stock(
        name="letter-stake-25x125",
        paper="Letter",
        page_width_mm=215.9,
        page_height_mm=279.4,
        label_width_mm=25,
        label_height_mm=125,
        columns=8,
        rows=2,
        left_mm=7.95,
        top_mm=14.7,
        pitch_x_mm=25,
        pitch_y_mm=125,
        soil_mm=45,
    ),
)

STOCKS: dict[str, Stock] = {stock.name: stock for stock in _BUILT_IN}
