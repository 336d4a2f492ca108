"""Where each label goes: pages and rectangles in millimetres, origin at the page's top left corner."""

from collections.abc import Iterator
from dataclasses import dataclass

from nursery.labels.stocks import Stock


@dataclass(frozen=True)
class Rect:
    """A rectangle: left, top, width and height in mm."""

    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float

    @property
    def right_mm(self) -> float:
        return self.x_mm + self.width_mm

    @property
    def bottom_mm(self) -> float:
        return self.y_mm + self.height_mm

    def holds(self, other: "Rect", *, slack_mm: float = 1e-6) -> bool:
        """Whether the other rectangle lies inside this one; edges may touch."""
        return (
            other.x_mm >= self.x_mm - slack_mm
            and other.y_mm >= self.y_mm - slack_mm
            and other.right_mm <= self.right_mm + slack_mm
            and other.bottom_mm <= self.bottom_mm + slack_mm
        )

    def overlaps(self, other: "Rect", *, slack_mm: float = 1e-6) -> bool:
        """Whether the two share more than an edge."""
        return (
            self.x_mm < other.right_mm - slack_mm
            and other.x_mm < self.right_mm - slack_mm
            and self.y_mm < other.bottom_mm - slack_mm
            and other.y_mm < self.bottom_mm - slack_mm
        )


def positions(stock: Stock, count: int, start: int = 1) -> Iterator[tuple[int, Rect]]:
    """Return the places of ``count`` labels, row by row, page after page.

    Parameters
    ----------
    stock : Stock
        The paper.
    count : int
        Labels to place; at least 0.
    start : int
        First position used on the first page, for a part-used sheet; 1 is its top left label.

    Returns
    -------
    iterator of (page, Rect)
        Pages count from 1.

    Raises
    ------
    ValueError
        If ``start`` is not on the sheet or ``count`` is negative.
    """
    if count < 0:
        raise ValueError(f"count must be at least 0, got {count}")
    if not 1 <= start <= stock.per_page:
        raise ValueError(f"start must be from 1 to {stock.per_page} on {stock.name}, got {start}")
    return (_place(stock, index) for index in range(start - 1, start - 1 + count))


def _place(stock: Stock, index: int) -> tuple[int, Rect]:
    page, on_page = divmod(index, stock.per_page)
    row, column = divmod(on_page, stock.columns)
    left = stock.left_mm + stock.shift_x_mm + column * stock.pitch_x_mm
    top = stock.top_mm + stock.shift_y_mm + row * stock.pitch_y_mm
    return page + 1, Rect(left, top, stock.label_width_mm, stock.label_height_mm)
