"""Checks that were given to another flat: tablets may still send marks under the flat they were made on."""

from nursery.models import Change, Check

GIVEN = "flat"  # the field of the change that says a check was given to another flat


def was_given(check: Check, code: str) -> bool:
    """Whether a check once was one of the flat of ``code``."""
    return Change.objects.filter(check_ref=check, field=GIVEN, old=code).exists()
