"""The label papers that Takebook knows: how large the page is and where its labels sit.

A stock is named by its measures. Lengths are millimetres, the origin is the top left corner of the
page. A roll is a page that holds one label. Sheets of one measure are cut alike by most makers:
margins are common practice, no source; a print on plain paper held behind the sheet tells.
"""

from dataclasses import dataclass

TOLERANCE_MM = 1e-6


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

    Raises
    ------
    ValueError
        If a label would leave the page, overlap another or be all edge.
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

    def __post_init__(self) -> None:
        across = (self.columns, self.pitch_x_mm, self.label_width_mm, self.left_mm, self.page_width_mm)
        down = (self.rows, self.pitch_y_mm, self.label_height_mm, self.top_mm, self.page_height_mm)
        for word, (count, pitch, size, start, page) in (("columns", across), ("rows", down)):
            if count < 1 or size <= 0 or start < 0:
                raise ValueError(f"{self.name}: {word} need a count from 1, a size and a margin from 0")
            if count > 1 and pitch < size - TOLERANCE_MM:
                raise ValueError(f"{self.name}: {word} overlap, pitch {pitch} mm, label {size} mm")
            if start + (count - 1) * pitch + size > page + TOLERANCE_MM:
                raise ValueError(f"{self.name}: {word} leave the page of {page} mm")
        if 2 * self.pad_x_mm >= self.label_width_mm or 2 * self.pad_y_mm >= self.label_height_mm:
            raise ValueError(f"{self.name}: the blank edges leave no room on the label")

    @property
    def per_page(self) -> int:
        """Labels on a page."""
        return self.columns * self.rows


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
)

STOCKS: dict[str, Stock] = {stock.name: stock for stock in _BUILT_IN}
