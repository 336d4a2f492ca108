"""What a label is made of: boxes in mm from its top left corner."""

from dataclasses import dataclass, replace

from nursery.labels.qr import Level
from nursery.labels.sheet import Rect


@dataclass(frozen=True)
class TextBox:
    """One line of text; its baseline lies ``ascent_mm`` below the top of ``rect``.

    A turned line reads downwards, turned clockwise: its top is the right edge of ``rect``.
    """

    rect: Rect
    text: str
    size_pt: float
    ascent_mm: float
    bold: bool
    tracking_pt: float
    is_turned: bool = False


@dataclass(frozen=True)
class QrBox:
    """The QR symbol; ``rect`` includes the quiet zone of four modules on each edge."""

    rect: Rect
    address: str
    level: Level
    module_mm: float


@dataclass(frozen=True)
class RuleBox:
    """A thin filled bar."""

    rect: Rect


Box = TextBox | QrBox | RuleBox


def turned(box: TextBox | RuleBox, right_mm: float, top_mm: float) -> TextBox | RuleBox:
    """Return a box of a column turned clockwise, the column's top left corner coming to this place."""
    rect = box.rect
    left = right_mm - rect.y_mm - rect.height_mm
    moved = Rect(left, top_mm + rect.x_mm, rect.height_mm, rect.width_mm)
    if isinstance(box, TextBox):
        return replace(box, rect=moved, is_turned=True)
    return replace(box, rect=moved)
