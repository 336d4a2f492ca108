"""A place drawn small: a square a flat with the sign of its stage, or a bar of how full it is."""

from collections.abc import Mapping

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from nursery.models import Stage

DRAWN_MOST = 60  # squares; more of them nobody counts at a glance
IN_A_ROW = 10
PITCH, SIDE, EDGE = 16, 13, 2

# What stands inside the edge of a square of 13 by 13, from its upper left corner: closed in the chamber,
# half open in acclimation, a stem with leaves when growing on.
SIGNS = {
    Stage.SOWN: "m5 5h3v3h-3z",
    Stage.BENCH: "m3 5.5h7v2h-7z",
    Stage.CHAMBER: "m2 2h9v9h-9z",
    Stage.ACCLIMATION: "m2 11h9v-9z",
    Stage.GROWING_ON: "m5.5 3h2v2.5h2.5v2h-2.5v2.5h-2v-2.5h-2.5v-2h2.5z",
}
_RING = f"h{SIDE}v{SIDE}h-{SIDE}z m{EDGE} {EDGE}v{SIDE - 2 * EDGE}h{SIDE - 2 * EDGE}v-{SIDE - 2 * EDGE}z"
_FREE = f"h{SIDE}v{SIDE}h-{SIDE}z m1 1v{SIDE - 2}h{SIDE - 2}v-{SIDE - 2}z"


def draw_spots(numbers: Mapping[Stage, int], free: int) -> SafeString:
    """Draw so many flats of each stage, one path a stage, and then the free room, if there is any."""
    total = sum(numbers.values()) + free
    if not total:
        return SafeString()
    paths, drawn = [], 0
    for stage, number in numbers.items():
        path = "".join(_corner(drawn + i) + _RING + _corner(drawn + i) + SIGNS[stage] for i in range(number))
        paths.append((stage.value, path))
        drawn += number
    if free:
        paths.append(("free", "".join(_corner(drawn + i) + _FREE for i in range(free))))
    columns = min(total, IN_A_ROW)
    return format_html(
        '<svg class="spots" data-columns="{}" viewBox="0 0 {} {}" aria-hidden="true">{}</svg>',
        columns,
        columns * PITCH - (PITCH - SIDE),
        -(-total // IN_A_ROW) * PITCH - (PITCH - SIDE),
        format_html_join("", '<path data-stage="{}" fill-rule="evenodd" d="{}"/>', paths),
    )


def draw_bar(flats: int, room: int) -> SafeString:
    """Draw how much of the room is taken."""
    share = min(100, round(100 * flats / room)) if room else 100
    return format_html(
        '<svg class="fullness" aria-hidden="true"><rect class="fullness-room" width="100%" height="100%"/>'
        '<rect width="{}%" height="100%"/></svg>',
        share,
    )


def _corner(number: int) -> str:
    row, column = divmod(number, IN_A_ROW)
    return f"M{column * PITCH} {row * PITCH}"
