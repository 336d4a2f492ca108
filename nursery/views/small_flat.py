"""A flat as a small picture: which of its places hold no living plant, or where one cell lies."""

from collections.abc import Collection

from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe

PITCH, GAP = 10, 2  # units of the picture, not of the screen


def small_flat(
    rows: int,
    columns: int,
    *,
    empty: Collection[int] = (),
    unused: Collection[int] = (),
    asked: Collection[int] = (),
    name: str = "",
) -> SafeString:
    """Draw a flat of ``rows`` and ``columns``, label corner at the top left.

    ``empty`` places are filled, ``unused`` ones left out, ``asked`` ones framed: those somebody asks about.
    Without a ``name`` the picture is passed over by screen readers: what it shows is said beside it.
    """
    cells = []
    for place in range(1, rows * columns + 1):
        if place in unused:
            continue
        row, column = divmod(place - 1, columns)
        kind = ("small-empty" if place in empty else "small-plant") + (
            " small-asked" if place in asked else ""
        )
        x, y, side = column * PITCH + GAP // 2, row * PITCH + GAP // 2, PITCH - GAP
        cells.append(f'<rect class="{kind}" x="{x}" y="{y}" width="{side}" height="{side}"/>')
    role = f'role="img" aria-label="{escape(name)}"' if name else 'aria-hidden="true"'
    width, height = columns * PITCH, rows * PITCH
    corner = f'<path class="small-corner" d="M0 {PITCH // 2}V0H{PITCH // 2}"/>'
    # Safe: built of numbers and escaped text alone.
    return mark_safe(
        f'<svg class="small-flat" viewBox="-2 -2 {width + 4} {height + 4}" {role}>'
        f'<rect class="small-tray" x="-2" y="-2" width="{width + 4}" height="{height + 4}"/>'
        f"{''.join(cells)}{corner}</svg>"
    )
