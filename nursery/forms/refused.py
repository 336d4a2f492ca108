"""Show in a form what an action refused."""

from django.core.exceptions import ValidationError
from django.forms import BaseForm


def add_refusal(form: BaseForm, error: ValidationError) -> None:
    """Put the messages of an action to the fields they name, and the rest over the form."""
    if not hasattr(error, "error_dict"):
        form.add_error(None, error)
        return
    for name, problems in error.error_dict.items():
        form.add_error(name if name in form.fields else None, problems)
