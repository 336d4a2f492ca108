"""Checks that were given to another flat: tablets may still send marks under the flat they were made on."""

from uuid import UUID

from nursery.models import Change, Check, Run

GIVEN = "flat"  # the field of the change that says a check was given to another flat


def was_given(check: Check, code: str) -> bool:
    """Whether a check once was one of the flat of ``code``."""
    return Change.objects.filter(check_ref=check, field=GIVEN, old=code).exists()


def given_run(check: Check, key: UUID) -> int | None:
    """Return the run that stands for the one with this key, of a flat that the check was given away from."""
    run = Run.objects.select_related("flat").filter(key=key).first()
    if run is None or not was_given(check, run.flat.code):
        return None
    there = Run.objects.filter(flat=check.flat_id, number=run.number)
    return there.values_list("pk", flat=True).first()
