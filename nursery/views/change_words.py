"""What is written down of a change, said in words: fields, values, what was voided."""

from collections import Counter
from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from nursery.actions.run_values import ROWS, SOWINGS
from nursery.calc.codes import CodeError, spoken
from nursery.forms.bench import NOT_RECORDED
from nursery.forms.mending import CHOICES, WHAT
from nursery.models import Cause, Change, Check, Grading, Leaving, Severing, Voiding

OTHER_FIELDS = {
    "flat": gettext_lazy("Check given to another flat"),
    "finish": gettext_lazy("Finishing taken back"),
    "hand_over": gettext_lazy("Hand-over taken back"),
    "regraft": gettext_lazy("Grafting again taken back"),
    "twin": gettext_lazy("Second flat of one label"),
}
PLANTS = ("finish", "regraft")
VALUES_SAID = 4


def field_said(name: str) -> str:
    """Name a field; one that no word is kept for is shown as it is written."""
    return str(WHAT.get(name) or OTHER_FIELDS.get(name, name))


def names_in(changes: Iterable[Change]) -> dict[str, str]:
    """Return the names behind the bare keys that changes at the bench hold: a query a kind of row at most."""
    keys: dict[Any, set[str]] = {}
    for change in changes:
        if change.field in ROWS:
            bare = {value for value in (change.old, change.new) if isinstance(value, str)}
            keys.setdefault(ROWS[change.field], set()).update(bare)
    names = {}
    for model, wanted in keys.items():
        rows = model.objects.named() if hasattr(model.objects, "named") else model.objects.all()
        if wanted:
            names |= {str(row.key): str(row) for row in rows.filter(key__in=wanted)}
    return names


def values_said(changes: Iterable[Change], side: str, names: Mapping[str, str]) -> str:
    """Say the ``side`` ("old" or "new") of changes of one field; where they differ, each with its number."""
    said = Counter(value_said(change.field, getattr(change, side), names) for change in changes)
    if len(said) == 1:
        return next(iter(said))
    some = [f"{value} ({count})" for value, count in said.most_common(VALUES_SAID)]
    return ", ".join(some) + (" …" if len(said) > VALUES_SAID else "")


def value_said(name: str, stored: Any, names: Mapping[str, str]) -> str:
    """Say one stored value."""
    if name in PLANTS:
        return ngettext("%d plant", "%d plants", stored) % stored if isinstance(stored, int) else ""
    if name not in WHAT:
        return _code_said(stored) if isinstance(stored, str) else ""
    if stored in (None, "", [], "unknown"):
        return str(NOT_RECORDED)
    if name in SOWINGS:
        return ", ".join(e["name"] if isinstance(e, dict) else _code_said(e) for e in stored)
    if isinstance(stored, dict):
        return str(stored.get("name", ""))
    if name in ROWS:
        return names.get(str(stored), "–")
    if name in CHOICES:
        return str(dict(CHOICES[name]).get(stored, stored))
    if name == "grafted_on":
        return date_format(date.fromisoformat(stored), "j F Y")
    return str(stored)


def _code_said(text: str) -> str:
    try:
        return spoken(text)
    except CodeError:
        return text


def voiding_said(voiding: Voiding, target: Any) -> str:
    """Say what was taken back, or put back."""
    if isinstance(target, Check):
        day = {"day": date_format(target.day, "j F Y")}
        is_first = voiding.target_uuid == target.uuid or voiding.target_noun == "check"
        return _("Check of %(day)s voided") % day if is_first else _("Check of %(day)s put back") % day
    if isinstance(target, Leaving):
        said = {"reason": Cause(target.reason).label, "day": date_format(target.day, "j F Y")}
        return _("Leaving of %(day)s undone: %(reason)s") % said
    if isinstance(target, Grading):
        return _("Grading of %(day)s undone") % {"day": date_format(target.day, "j F Y")}
    if isinstance(target, Severing):
        return _("Severing of %(day)s undone") % {"day": date_format(target.severed_on, "j F Y")}
    return _("Discarding undone")
