"""Time at work as it is said."""

from datetime import timedelta

from django import template
from django.utils.translation import gettext as _

register = template.Library()


@register.filter
def hours(time: timedelta) -> str:
    """Return 2 h 10 min, or 25 min."""
    whole, minutes = divmod(int(time.total_seconds()) // 60, 60)
    if whole:
        return _("%(hours)s h %(minutes)s min") % {"hours": whole, "minutes": minutes}
    return _("%(minutes)s min") % {"minutes": minutes}
