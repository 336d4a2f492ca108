"""The form every record has: up to three fields first, the rest folded away."""

from collections.abc import Mapping
from typing import Any

from django import forms
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.forms.models import fields_for_model
from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy as _

from nursery.forms.records.fields import CommaDecimalField
from nursery.models import Account, Cultivar, Place, SeedLot, Sowing

PUBLIC_KEYS: dict[type[models.Model], str] = {Account: "username", Place: "code", Sowing: "code"}
NAMED_WITH: dict[type[models.Model], str] = {Cultivar: "crop", SeedLot: "cultivar"}
RADIO_CHOICES_MOST = 4
MOST_SMALL, MOST = 2**15 - 1, 2**31 - 1  # what PostgreSQL's columns hold; SQLite would take more


def public_key(model: type[models.Model]) -> str:
    """Return the column by which a row is known outside: never its integer key."""
    return PUBLIC_KEYS.get(model, "key")


class RowChoiceField(forms.ModelChoiceField):
    """A choice of rows, named so that two of the same name are told apart."""

    def label_from_instance(self, row: Any) -> str:
        if isinstance(row, Cultivar):
            return f"{row.name} ({row.crop.name})"
        return str(row)


class RecordForm(forms.Form):
    """Build the fields of ``front`` and ``folded`` from the model; fields declared in the class win.

    It checks the shape of what was typed and nothing else: rules belong to the action.
    """

    model: type[models.Model]
    front: tuple[str, ...]
    folded: tuple[str, ...] = ()
    help_texts: dict[str, Any] = {}

    def __init__(
        self, data: Any = None, *, record: Any, farm: Any, initial: Mapping[str, Any] | None = None
    ) -> None:
        self.record, self.farm, self.given = record, farm, initial or {}
        names = [*self.front, *self.folded]
        made = fields_for_model(
            self.model, fields=names, help_texts=self.help_texts, formfield_callback=_form_field
        )
        super().__init__(data, initial={**initial_of(record, names), **self.given})
        self.fields = {name: self.fields.get(name) or made[name] for name in names}
        self.prepare()
        for field in self.fields.values():
            say_it_plainly(field)
            field.show_hidden_initial = record.pk is not None  # what was shown comes back with what was typed

    def prepare(self) -> None:
        """Adjust the fields to the record and the farm; for a form to override."""

    @property
    def front_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in self.front if name in self.fields]

    @property
    def folded_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in self.folded if name in self.fields]

    def values(self) -> dict[str, Any]:
        """Return what was typed, column by column of the model.

        Of a stored record only what differs from what its page showed: somebody else's change of another
        field, made while the page lay open, stays.
        """
        columns = {field.name for field in self.model._meta.fields}
        return {name: value for name, value in self.cleaned_data.items() if name in columns & self._typed()}

    def _typed(self) -> set[str]:
        """Return the fields that were changed in the page, or sent without saying what it showed."""
        untold = {name for name in self.fields if self.add_initial_prefix(name) not in self.data}
        return untold | set(self.changed_data)


def initial_of(record: Any, names: list[str]) -> dict[str, Any]:
    """Return the values of a record; a row it points to is given by its public key."""
    columns = {field.name: field for field in record._meta.fields}
    return {name: _initial(record, columns[name]) for name in names if name in columns}


def _initial(record: Any, column: models.Field) -> Any:
    if not isinstance(column, models.ForeignKey):
        return getattr(record, column.name)
    if getattr(record, column.attname) is None:
        return None
    return getattr(getattr(record, column.name), public_key(column.related_model))


def _form_field(column: models.Field, **options: Any) -> forms.Field | None:
    if isinstance(column, models.ForeignKey):
        return _row_choice(column, options)
    if isinstance(column, models.DateField):
        options["widget"] = date_input()
    if isinstance(column, models.TextField):
        options["widget"] = forms.Textarea(attrs={"rows": 3})
    if isinstance(column, models.IntegerField):
        options |= _limits(column)
    if column.choices and not column.blank and len(column.choices) <= RADIO_CHOICES_MOST:
        options["widget"] = forms.RadioSelect
    if isinstance(column, models.DecimalField):
        options["form_class"] = CommaDecimalField
    return column.formfield(**options)


def date_input() -> forms.DateInput:
    return forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")


def _row_choice(column: models.ForeignKey, options: dict[str, Any]) -> forms.Field:
    related: Any = column.related_model
    rows = related._default_manager.all()
    if related in NAMED_WITH:
        rows = rows.select_related(NAMED_WITH[related])
    return column.formfield(
        form_class=RowChoiceField,
        queryset=rows,
        to_field_name=public_key(related),
        empty_label=_("none") if column.blank else _("Choose"),
        **options,
    )


def _limits(column: models.Field) -> dict[str, Any]:
    """Give the form the limits that the model's validators state, so that the keyboard knows them too."""
    is_small = isinstance(column, models.SmallIntegerField | models.PositiveSmallIntegerField)
    limits = {"max_value": MOST_SMALL if is_small else MOST}
    for validator in column.validators:
        if isinstance(validator, MinValueValidator):
            limits["min_value"] = validator.limit_value
        elif isinstance(validator, MaxValueValidator):
            limits["max_value"] = min(validator.limit_value, limits["max_value"])
    return limits


def say_it_plainly(field: forms.Field) -> None:
    """Let every message name its field and the remedy."""
    is_choice = isinstance(field, forms.ChoiceField | forms.ModelChoiceField)
    plain = {
        "required": _("{label}: choose one.") if is_choice else _("{label}: enter it, then save again."),
        "invalid": _("{label}: this is no whole number. Write it like 72."),
    }
    if isinstance(field, forms.DecimalField):
        plain["invalid"] = _("{label}: this is no number. Write it like 12.50 or 12,50.")
    elif isinstance(field, forms.DateField):
        plain["invalid"] = _("{label}: write the date as year-month-day, for example 2026-03-02.")
    filled_in_later = {
        "invalid_choice": _("{label}: this is not in the book. Choose from the list."),
        "min_value": _("{label}: at least %(limit_value)s."),
        "max_value": _("{label}: at most %(limit_value)s."),
        "max_length": _("{label}: at most %(limit_value)d letters; these are %(show_value)d."),
        "max_decimal_places": _("{label}: at most %(max)s places after the point."),
    }
    label = str(field.label or "")
    field.error_messages |= {code: format_lazy(text, label=label) for code, text in plain.items()}
    label = label.replace("%", "%%")
    field.error_messages |= {code: format_lazy(text, label=label) for code, text in filled_in_later.items()}
