"""Fitting text into a column: clean it, wrap it, shrink it, and only then cut it.

A paragraph is set near its wished size on as few lines as it needs. If it needs too many it shrinks, down
to its least size; if it is still too long, its last line ends with an ellipsis. A column that is too
full shrinks as a whole, then gives up second lines, then the paragraphs that may go.
"""

import re
import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

from nursery.labels.scripts import UNSEEN, draws, shaped

MM_PER_POINT = 25.4 / 72
ASCENT_EM = 0.95  # the chosen font's accented capitals reach 0.93
TALL_ASCENT_EM = 1.13  # two accents on one capital reach 1.12
DESCENT_EM = 0.25
LINE_EM = TALL_ASCENT_EM + DESCENT_EM  # no line is higher
SIZE_STEP_PT = 0.25
NO_WIDTH_EM = 1e-6  # accents that stand alone take no room
ELLIPSIS = "…"
LOST = "\uffff"  # stands for a character that does not print; itself no character
GAP = "_"
GAP_MOST = 12


class Metrics(Protocol):
    """What fitting must know of the font."""

    def width_em(self, text: str, *, bold: bool) -> float:
        """Advance width of the text at size 1."""

    def has(self, character: str) -> bool:
        """Whether the font can draw the character."""


@dataclass(frozen=True, kw_only=True)
class Paragraph:
    """Text with its wishes. ``may_go``: 0 stays, higher numbers are left out first.

    ``least_share`` is how far it shrinks, as a share of ``size_pt``, to save a line; ``whole`` that
    it is never cut; ``at_foot`` that it belongs to the group at the bottom of the column.
    """

    text: str
    size_pt: float
    least_pt: float
    bold: bool = False
    lines: int = 2
    before_pt: float = 0.0
    tracking_em: float = 0.0
    least_share: float = 0.8
    may_go: int = 0
    whole: bool = False
    at_foot: bool = False


@dataclass(frozen=True)
class Line:
    """One line as it will be set; ``before_pt`` is the blank above it."""

    text: str
    size_pt: float
    width_pt: float
    ascent_pt: float
    before_pt: float
    style: Paragraph

    @property
    def height_pt(self) -> float:
        return self.ascent_pt + DESCENT_EM * self.size_pt


def printable(text: str, metrics: Metrics) -> str:
    """Return the text with single spaces and composed accents, ready to be measured.

    What does not print becomes a line for a pencil, three strokes a character. Control and format
    characters are left out.
    """
    if text.isascii() and text.isprintable():
        return " ".join(text.split())
    ready = shaped(unicodedata.normalize("NFC", text))
    seen = [c for c in ready if c.isspace() or unicodedata.category(c) not in UNSEEN]
    kept = "".join(c if c.isspace() or draws(c, metrics.has) else LOST for c in seen)
    return " ".join(re.sub(f"{LOST}+", lambda run: GAP * min(GAP_MOST, 3 * len(run[0])), kept).split())


def text_width(text: str, style: Paragraph, metrics: Metrics) -> float:
    """Width at size 1, letter spacing between the letters included; never 0."""
    return NO_WIDTH_EM + metrics.width_em(text, bold=style.bold) + style.tracking_em * max(0, len(text) - 1)


def fit_column(
    paragraphs: Sequence[Paragraph], metrics: Metrics, *, width_pt: float, height_pt: float
) -> list[Line]:
    """Return the lines of all paragraphs, each no wider than the column, all together no higher.

    Raises ValueError if even the least sizes of what must stay do not fit, or what is ``whole`` had to
    be cut.
    """
    for wanted in _retreats([p for p in paragraphs if p.text]):
        lines = [line for p in wanted for line in _set_paragraph(p, metrics, width_pt=width_pt)]
        if sum(line.before_pt + line.height_pt for line in lines) <= height_pt:
            return lines
    raise ValueError(
        f"a column of {width_pt * MM_PER_POINT:.1f} x {height_pt * MM_PER_POINT:.1f} mm is too small"
    )


def _retreats(paragraphs: list[Paragraph]) -> Iterator[list[Paragraph]]:
    """Yield ever more modest versions of the column."""
    for percent in range(100, 45, -5):
        yield [_scaled(p, percent / 100) for p in paragraphs]
    least = [replace(p, size_pt=p.least_pt, before_pt=0.0) for p in paragraphs]
    yield least
    for droppable in sorted({p.may_go for p in least if p.may_go}, reverse=True):
        least = [replace(p, lines=1) if p.may_go == droppable else p for p in least]
        yield least
    for droppable in sorted({p.may_go for p in least if p.may_go}, reverse=True):
        least = [p for p in least if p.may_go != droppable]
        yield least
    yield [replace(p, lines=1) for p in least]


def _scaled(paragraph: Paragraph, factor: float) -> Paragraph:
    size = max(paragraph.least_pt, paragraph.size_pt * factor)
    return replace(paragraph, size_pt=size, before_pt=paragraph.before_pt * factor)


def _set_paragraph(paragraph: Paragraph, metrics: Metrics, *, width_pt: float) -> list[Line]:
    size, texts = _shrunk(paragraph, metrics, width_pt=width_pt)
    if len(texts) > paragraph.lines:
        if paragraph.whole:
            raise ValueError(f"{width_pt * MM_PER_POINT:.1f} mm are too narrow for {paragraph.text}")
        rest = " ".join(texts[paragraph.lines - 1 :])
        cut = _cut(rest + ELLIPSIS, paragraph, metrics, width_em=width_pt / size)
        texts = [*texts[: paragraph.lines - 1], cut]
    return [
        Line(
            text=text,
            size_pt=size,
            width_pt=size * text_width(text, paragraph, metrics),
            ascent_pt=size * (TALL_ASCENT_EM if _is_tall(text) else ASCENT_EM),
            before_pt=0.0 if number else paragraph.before_pt,
            style=paragraph,
        )
        for number, text in enumerate(texts)
    ]


def _shrunk(paragraph: Paragraph, metrics: Metrics, *, width_pt: float) -> tuple[float, list[str]]:
    """Return the size and lines to use: a little smaller is better than one line more."""
    size, least = paragraph.size_pt, _least_for(1, paragraph)
    on_one_line = width_pt / text_width(paragraph.text, paragraph, metrics)
    if on_one_line >= least:
        return min(size, on_one_line), [paragraph.text]
    for lines in range(2, paragraph.lines + 1):
        size, least = paragraph.size_pt, _least_for(lines, paragraph)
        texts = _wrap(paragraph, metrics, width_em=width_pt / size)
        while len(texts) > lines and size > least:
            size = max(least, size - SIZE_STEP_PT)
            texts = _wrap(paragraph, metrics, width_em=width_pt / size)
        if len(texts) <= lines:
            return size, texts
    return least, _wrap(paragraph, metrics, width_em=width_pt / least)


def _least_for(lines: int, paragraph: Paragraph) -> float:
    """Down to this size it shrinks to be set on so many lines."""
    share = paragraph.least_share if lines < paragraph.lines else 0.0
    return max(paragraph.least_pt, paragraph.size_pt * share)


def _is_tall(text: str) -> bool:
    return not text.isascii() and any(len(unicodedata.normalize("NFD", character)) > 2 for character in text)


def _wrap(paragraph: Paragraph, metrics: Metrics, *, width_em: float) -> list[str]:
    """Break at spaces; a word wider than the column is broken where the column ends."""
    lines: list[str] = []
    current = ""
    for word in paragraph.text.split(" "):
        longer = f"{current} {word}" if current else word
        if text_width(longer, paragraph, metrics) <= width_em:
            current = longer
            continue
        if current:
            lines.append(current)
        *full, current = _break_word(word, paragraph, metrics, width_em=width_em)
        lines.extend(full)
    return [*lines, current]


def _break_word(word: str, paragraph: Paragraph, metrics: Metrics, *, width_em: float) -> list[str]:
    pieces = [""]
    for character in word:
        if pieces[-1] and text_width(pieces[-1] + character, paragraph, metrics) > width_em:
            pieces.append("")
        pieces[-1] += character
    return pieces


def _cut(text: str, paragraph: Paragraph, metrics: Metrics, *, width_em: float) -> str:
    """Shorten a text that ends with an ellipsis until it fits."""
    while len(text) > 1 and text_width(text, paragraph, metrics) > width_em:
        text = text[:-2].rstrip(" ·,") + ELLIPSIS
    return text
