"""How values of records are said and drawn in lists, forms and pages."""

from collections.abc import Iterable
from datetime import date
from typing import Any

from django.utils.formats import date_format, number_format
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from nursery.models import Crop, Layout, Pairing, SeedLot

PITCH, HOLE = 10, 7  # of a cell in a drawing, in units of its own
EXAMPLES = ((6, 12), (7, 15))  # the 72 and the 105


def number(count: int | None) -> str:
    return "" if count is None else number_format(count, force_grouping=True)


def day(on: date | None) -> str:
    return date_format(on, "j M Y") if on else ""


def percent_of(part: int | None, whole: int) -> str:
    """Say a count with its share of the whole: "172, 86 %"."""
    return "" if part is None else f"{number(part)}, {round(100 * part / whole)} %"


def crop_method(crop: Crop) -> str:
    """Say the usual method and where that comes from."""
    if not crop.method:
        return ""
    return f"{crop.get_method_display()} ({crop.method_origin or _('no source given')})"


def germination(lot: SeedLot) -> str:
    """Say the germination and when it was tested: "92.5 %, 3 Feb 2026"."""
    if lot.germination_share is None:
        return ""
    said = f"{lot.germination_share * 100:.2f}".rstrip("0").rstrip(".") + " %"
    return f"{said}, {day(lot.germination_tested_on)}" if lot.germination_tested_on else said


def offset(pairing: Pairing) -> str:
    """Say which side is sown first."""
    days = pairing.sow_offset_days
    if days is None:
        return ""
    if days == 0:
        return _("same day")
    words = ngettext("%d day", "%d days", abs(days)) % abs(days)
    return (_("rootstock %s first") if days > 0 else _("scion %s first")) % words


def layout_use(layout: Layout) -> str:
    return _(" and ").join(str(len(layout.used_places(*shape))) for shape in EXAMPLES)


def tray_picture(rows: int, columns: int, used: Iterable[int] | None = None) -> SafeString:
    """Draw a flat small, label corner top left; cells that are not used are left as soil."""
    filled = set(range(1, rows * columns + 1)) if used is None else set(used)
    cells = "".join(_hole(place, columns, place in filled) for place in range(1, rows * columns + 1))
    label = ngettext("%(rows)d row", "%(rows)d rows", rows) % {"rows": rows}
    return format_html(
        '<svg class="tray" role="img" aria-label="{}" viewBox="0 0 {width} {height}">'
        '<rect class="tray-soil" width="{width}" height="{height}" rx="3"/>'
        '<path class="tray-label" d="M0 0H9L0 9Z"/>{}</svg>',
        _("%(rows)s of %(columns)d cells") % {"rows": label, "columns": columns},
        mark_safe(cells),  # numbers and fixed words alone
        width=columns * PITCH + 1,
        height=rows * PITCH + 1,
    )


def _hole(place: int, columns: int, is_used: bool) -> str:
    row, column = divmod(place - 1, columns)
    name = "tray-cell" if is_used else "tray-rest"
    x, y = column * PITCH + 2, row * PITCH + 2
    return f'<rect class="{name}" x="{x}" y="{y}" width="{HOLE}" height="{HOLE}" rx="1"/>'


def layouts_used(rows: int, columns: int, layouts: Iterable[Layout]) -> list[dict[str, Any]]:
    """Return what each layout uses of a flat: its name, the number of cells and the drawing."""
    return [
        {
            "name": layout.name,
            "count": len(used := layout.used_places(rows, columns)),
            "picture": tray_picture(rows, columns, used),
        }
        for layout in layouts
    ]
