"""Shares in words and as a picture."""

from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from nursery.models.takes import TakeRow

register = template.Library()


@register.filter
def percent(share: float) -> str:
    """Say a share as a grower does; "100 %" only where it is all, "0 %" only where it is none."""
    whole = round(share * 100)
    if share < 1 and whole == 100:
        return f"{min(share * 100, 99.9):.1f} %"
    if share > 0 and whole == 0:
        return f"{max(share * 100, 0.1):.1f} %"
    return f"{whole} %"


@register.simple_tag
def share_value(share: float, form: str = "percent") -> SafeString:
    """Return a share in words with its exact value beside it for machines."""
    words = percent(share) if form == "percent" else str(round(share * 100))
    return format_html('<data value="{}">{}</data>', f"{share:.6f}", words)


@register.simple_tag
def spread_value(phi: float) -> SafeString:
    """Return a dispersion with its exact value beside it for machines."""
    return format_html('<data value="{}">{}</data>', f"{phi:.6f}", f"{phi:.2f}")


@register.simple_tag
def range_picture(row: TakeRow, axis_low: float) -> SafeString:
    """Draw a take as a dot with its range, on an axis from ``axis_low`` to 1."""

    def at(share: float) -> str:
        return f"{(share - axis_low) / (1 - axis_low) * 100:.2f}%"

    grid = [
        format_html('<line class="range-grid" x1="{0}%" x2="{0}%" y1="0" y2="100%"/>', x)
        for x in (0, 50, 100)
    ]
    if row.low is None or row.high is None:
        words, line = _("%s, range not known yet") % percent(row.take_share), SafeString()
    else:
        words = _("%(take)s, likely between %(low)s and %(high)s") % {
            "take": percent(row.take_share),
            "low": percent(row.low),
            "high": percent(row.high),
        }
        line = format_html(
            '<line class="range-line" x1="{}" x2="{}" y1="50%" y2="50%"/>', at(row.low), at(row.high)
        )
    dot = format_html('<circle class="range-dot" cx="{}" cy="50%" r="6"/>', at(row.take_share))
    return format_html(
        '<svg class="range" role="img" aria-label="{}">{}{}{}{}{}</svg>', words, *grid, line, dot
    )
