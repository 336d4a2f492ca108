"""What a grower is told on every page when the copies fall behind."""

from django import template
from django.conf import settings
from django.utils import timezone

from nursery.actions.copies_kept import days_without_copy
from nursery.actions.copies_state import CopiesState, read_state

register = template.Library()


@register.simple_tag
def copies_days() -> int | None:
    """Return for how many days there has been no good copy, if they are too many. One look at one file."""
    return days_without_copy(read_state(settings.DATA_DIR), timezone.now())


@register.simple_tag
def copies_state() -> CopiesState:
    return read_state(settings.DATA_DIR)
