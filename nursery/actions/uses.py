"""What uses a record, in words: the reason why it cannot be deleted."""

from collections.abc import Callable
from typing import Any

from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import Q
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext_lazy

from nursery.models import (
    Check,
    Cultivar,
    DayCount,
    Flat,
    HealingPlan,
    Mark,
    Pairing,
    Place,
    PlaceMove,
    Reading,
    Run,
    RunSowing,
    SeedLot,
    Session,
    Sowing,
    StageMove,
    Target,
    Worker,
)

NAMED_MOST = 3
COUNTED: dict[type[models.Model], Any] = {
    Cultivar: ngettext_lazy("%d cultivar", "%d cultivars"),
    Pairing: ngettext_lazy("%d pairing", "%d pairings"),
    SeedLot: ngettext_lazy("%d seed lot", "%d seed lots"),
    Sowing: ngettext_lazy("%d sowing", "%d sowings"),
    Flat: ngettext_lazy("%d flat", "%d flats"),
    Place: ngettext_lazy("%d place", "%d places"),
    Run: ngettext_lazy("%d grafting", "%d graftings"),
    RunSowing: ngettext_lazy("%d grafting", "%d graftings"),
    Session: ngettext_lazy("%d session", "%d sessions"),
    StageMove: ngettext_lazy("%d move of a flat", "%d moves of flats"),
    PlaceMove: ngettext_lazy("%d move of a place", "%d moves of places"),
    Check: ngettext_lazy("%d check", "%d checks"),
    Mark: ngettext_lazy("%d mark", "%d marks"),
    HealingPlan: ngettext_lazy("%d healing plan", "%d healing plans"),
    Target: ngettext_lazy("%d target", "%d targets"),
    Reading: ngettext_lazy("%d reading", "%d readings"),
}
NAMED: dict[type[models.Model], Callable[[Any], Any]] = {
    Cultivar: lambda rows: rows,
    Pairing: lambda rows: rows.named(),
    SeedLot: lambda rows: rows.select_related("cultivar"),
    Sowing: lambda rows: rows.named(),
    Place: lambda rows: rows,
    Flat: lambda rows: rows,
}
INSTEAD: dict[type[models.Model], Any] = {
    Worker: gettext_lazy("Say that they do not work here now instead."),
    SeedLot: gettext_lazy("Put the lot on hold instead."),
}


def uses_of(record: models.Model) -> str:
    """Return what points at a record, counted, the first few by name; empty where nothing does."""
    return ", ".join(_said(model, rows) for model, rows in _users(record))


def refuse_if_used(record: models.Model) -> None:
    """ValidationError that names what uses the record and what to do instead."""
    uses = uses_of(record)
    if uses:
        remedy = INSTEAD.get(type(record), _("Change or delete those first."))
        text = _("“%(name)s” stays: it is used by %(uses)s. %(remedy)s")
        params = {"name": capfirst(str(record)), "uses": uses, "remedy": remedy}
        raise ValidationError(text, code="in_use", params=params)


def _users(record: models.Model) -> list[tuple[type[models.Model], models.QuerySet[Any]]]:
    """Return the rows that protect the record, a model at a time, whatever the column they point with."""
    pointing: dict[type[models.Model], Q] = {}
    for relation in record._meta.get_fields(include_hidden=True):
        # Counts follow from the graftings and are named by them.
        if getattr(relation, "on_delete", None) is models.PROTECT and relation.related_model is not DayCount:
            model: Any = relation.related_model
            pointing[model] = pointing.get(model, Q()) | Q(**{relation.field.name: record})  # type: ignore[union-attr]
    found = ((model, model._default_manager.filter(points)) for model, points in pointing.items())
    return [(model, rows) for model, rows in found if rows.exists()]


def _said(model: type[models.Model], rows: models.QuerySet[Any]) -> str:
    count = rows.count()
    if model not in COUNTED:
        return f"{count} {model._meta.verbose_name_plural}"
    words = str(COUNTED[model] % count)
    if model not in NAMED:
        return words
    names = [str(row) for row in NAMED[model](rows)[:NAMED_MOST]]
    more = "…" if count > NAMED_MOST else ""
    return f"{words} ({'; '.join(names)}{more})"
