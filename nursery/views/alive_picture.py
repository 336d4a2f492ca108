"""How many lived, check by check, as a small picture: days after grafting across, plants up to all grafted.

The line begins at the day of grafting with all plants. A day on which the whole flat was seen, or counted by
numbers, is a full dot; of a day seen in part the dot is open and takes what nobody looked at as alive, as the
rest of the program does. Plants that left alive stay among the living, as in a take: what was sold is no
loss. Wilting plants are the lighter bar that hangs from the dot they are counted in.

It is drawn for a phone 320 units wide, so that its figures are as large there as other words, and grows with
the page to a little more. The table of days below it says the same.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from nursery.views.flat_story import DayLine

WIDTH, HEIGHT = 320, 190
LEFT, RIGHT, TOP, BOTTOM = 40, 300, 30, 136  # of the field in which dots stand
DAY_LINE, RECORD_LINE = 156, 178  # on which days and the word "record" are written
DIGIT = 10  # width of a figure at the size of small type
DAYS_LEAST = 2  # one dot is no picture


@dataclass(frozen=True, slots=True)
class _Dot:
    age: int
    alive: int
    wilting: int
    gone: int
    grafted: int
    seen: int
    is_full: bool
    is_record: bool


@dataclass(frozen=True, slots=True)
class AlivePicture:
    """The drawing, and which signs stand in it, so that the words below explain these alone."""

    drawing: SafeString
    has_open: bool
    has_wilting: bool
    has_gone: bool


def alive_picture(days: Sequence[DayLine]) -> AlivePicture | None:
    """Draw the counts by day; None where fewer than two days tell anything."""
    dots = [_dot(line) for line in reversed(days) if line.age is not None and not line.is_unseen]
    if len(dots) < DAYS_LEAST or not dots[-1].age:
        return None
    field = _Field(last=dots[-1].age, most=max(dot.grafted for dot in dots))
    drawing = format_html(
        '<svg class="alive" viewBox="0 0 {} {}" role="img" aria-label="{}">{}{}{}{}</svg>',
        WIDTH,
        HEIGHT,
        _said(dots),
        _axes(field),
        _line(dots, field),
        format_html_join("", "{}", ((_drawn(dot, field),) for dot in dots)),
        _figures(dots, field),
    )
    return AlivePicture(
        drawing,
        has_open=any(not dot.is_full for dot in dots),
        has_wilting=any(dot.wilting for dot in dots),
        has_gone=any(dot.gone for dot in dots),
    )


def _dot(line: DayLine) -> _Dot:
    return _Dot(
        age=line.age or 0,
        alive=line.grafted - line.dead,
        wilting=line.wilting,
        gone=line.gone,
        grafted=line.grafted,
        seen=line.seen,
        is_full=line.is_closed and line.seen == line.grafted,
        is_record=line.is_record or any(part.is_record for part in line.parts),
    )


@dataclass(frozen=True, slots=True)
class _Field:
    """Where a day and a number of plants stand in the drawing: ``last`` day, ``most`` plants."""

    last: int
    most: int

    def x(self, age: int) -> float:
        return round(LEFT + (RIGHT - LEFT) * max(age, 0) / self.last, 1)

    def y(self, plants: int) -> float:
        return round(BOTTOM - (BOTTOM - TOP) * plants / max(self.most, 1), 1)


def _axes(field: _Field) -> SafeString:
    levels = ((LEFT, y, RIGHT, y, LEFT - 8, y + 6, n) for n in (0, field.most) for y in (field.y(n),))
    return format_html_join(
        "",
        '<line class="alive-axis" x1="{}" y1="{}" x2="{}" y2="{}"/>'
        '<text class="alive-soft" x="{}" y="{}" text-anchor="end">{}</text>',
        levels,
    )


def _line(dots: Sequence[_Dot], field: _Field) -> SafeString:
    """Join the days of which all is known, from all plants on the day of grafting on."""
    full = [dot for dot in dots if dot.is_full]
    points = [(0, full[0].grafted), *((dot.age, dot.alive) for dot in full)] if full else []
    said = " ".join(f"{field.x(age)},{field.y(alive)}" for age, alive in points)
    return format_html('<polyline class="alive-line" points="{}"/>', said)


def _drawn(dot: _Dot, field: _Field) -> SafeString:
    x, y = field.x(dot.age), field.y(dot.alive)
    parts = []
    if dot.is_record:
        parts.append(
            format_html('<line class="alive-record" x1="{}" y1="{}" x2="{}" y2="{}"/>', x, y, x, BOTTOM)
        )
    if dot.wilting:
        height = round(field.y(dot.alive - dot.wilting) - y, 1)
        parts.append(
            format_html(
                '<rect class="alive-wilting" x="{}" y="{}" width="16" height="{}"/>', x - 8, y, height
            )
        )
    name = "alive-dot" if dot.is_full else "alive-dot alive-open"
    parts.append(format_html('<circle class="{}" cx="{}" cy="{}" r="6"/>', name, x, y))
    return format_html_join("", "{}", ((part,) for part in parts))


def _figures(dots: Sequence[_Dot], field: _Field) -> SafeString:
    """Write plants above and days below, leaving out what would stand in each other."""
    written = _apart(dots, field)
    texts: list[tuple[float, float, str, str]] = []
    if all(field.x(dot.age) - LEFT > 2 * DIGIT for dot in written):
        texts.append((LEFT, DAY_LINE, "alive-soft", "0"))
    for dot in written:
        x = field.x(dot.age)
        texts.append((x, field.y(dot.alive) - 12, "alive-number", str(dot.alive)))
        texts.append((x, DAY_LINE, "alive-soft", str(dot.age)))
    words = [
        (min(field.x(dot.age), RIGHT - 16), RECORD_LINE, "alive-number", _("record"))
        for dot in written
        if dot.is_record
    ]
    return format_html_join(
        "", '<text x="{}" y="{}" class="{}" text-anchor="middle">{}</text>', [*texts, *words]
    )


def _apart(dots: Sequence[_Dot], field: _Field) -> list[_Dot]:
    """Return the dots whose figures have room: the record first, then the last day, then from the left."""
    wanted = sorted(dots, key=lambda dot: (not dot.is_record, dot is not dots[-1]))
    room = DIGIT * max(len(str(field.most)), len(str(field.last))) + 8
    kept: list[_Dot] = []
    for dot in wanted:
        if all(abs(field.x(dot.age) - field.x(other.age)) >= room for other in kept):
            kept.append(dot)
    return kept


def _said(dots: Iterable[_Dot]) -> str:
    return _("Alive by check: %s.") % "; ".join(_dot_said(dot) for dot in dots)


def _dot_said(dot: _Dot) -> str:
    said = _("day %(age)d, %(alive)d of %(grafted)d") % {
        "age": dot.age,
        "alive": dot.alive,
        "grafted": dot.grafted,
    }
    parts = [said]
    if dot.wilting:
        parts.append(_("%d wilting") % dot.wilting)
    if dot.gone:
        parts.append(_("%d of them gone") % dot.gone)
    if dot.seen < dot.grafted:
        parts.append(_("only %d seen") % dot.seen)
    if dot.is_record:
        parts.append(_("the record"))
    return ", ".join(parts)
