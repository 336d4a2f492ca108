"""Store, change and delete the records. The farm and its sowings have actions of their own beside."""

import unicodedata
from collections.abc import Iterable, Mapping
from typing import Any

from django.core.exceptions import ValidationError
from django.db import IntegrityError, models, transaction
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from nursery.actions import counting
from nursery.actions.codes import issue_code
from nursery.actions.moves import move_place
from nursery.actions.stamp import Stamp
from nursery.actions.uses import refuse_if_used, uses_of
from nursery.calc.codes import PLACE, SOWING
from nursery.models import (
    Crop,
    Cultivar,
    Layout,
    Pairing,
    Place,
    Season,
    SeedLot,
    Sowing,
    TrayFormat,
    Worker,
)

Values = Mapping[str, Any]
CODE_KINDS: dict[type[models.Model], str] = {Sowing: SOWING, Place: PLACE}

# Two rows of one scope whose words read the same are a slip: capitals and spaces do not tell them apart.
LOOK_ALIKES: dict[type[models.Model], tuple[tuple[str, ...], tuple[str, ...]]] = {
    Crop: ((), ("name",)),
    Cultivar: (("crop",), ("name",)),
    SeedLot: (("cultivar",), ("lot_number", "supplier")),
    TrayFormat: ((), ("name",)),
    Layout: ((), ("name",)),
    Worker: ((), ("name",)),
    Place: ((), ("name",)),
    Season: ((), ("name",)),
}
# The field at which a grower mends what a constraint refuses.
FIELD_OF_CONSTRAINT = {
    "cultivar_name_once_per_crop": "name",
    "pairing_once": "rootstock",
    "pairing_record_days_1_to_90": "record_days",
    "seed_lot_once": "lot_number",
    "seed_lot_germination_is_share": "germination_share",
    "seed_lot_price_not_negative": "price",
    "sowing_stand_lte_seeds": "stand_count",
    "sowing_usable_lte_stand": "usable_count",
    "sowing_seeds_at_least_1": "seeds_count",
    "tray_format_26_by_40": "rows",
    "place_not_in_itself": "stands_in",
    "season_ends_after_start": "ends_on",
}
# What others were counted on stays as it is: changing it would rewrite their past.
FIXED_IN_USE: dict[type[models.Model], tuple[str, tuple[str, ...]]] = {
    TrayFormat: ("flats", ("rows", "columns")),
    Layout: ("flats", ("pattern", "skips_first")),
    Pairing: ("runs", ("scion", "rootstock")),
    SeedLot: ("sowings", ("cultivar",)),
    Sowing: ("run_sowings", ("lot",)),
}


@transaction.atomic
def save_record(record: models.Model, values: Values, *, stamp: Stamp | None = None) -> None:
    """Store a new record, or the columns of a loaded one that differ from ``values``.

    ValidationError, by field, where a rule refuses; the record in memory then holds the refused values.
    A place that comes to stand in another is moved there: ``stamp`` signs that (else nobody does).
    """
    values = {name: _trimmed(record, name, value) for name, value in values.items()}
    is_new = record._state.adding
    changed = [name for name, value in values.items() if is_new or getattr(record, name) != value]
    if not is_new and changed:
        _refuse_built_in(record)
        _refuse_fixed(record, changed)
    before = {name: None if is_new else getattr(record, name) for name in changed}
    for name in changed:
        setattr(record, name, values[name])
    if is_new and type(record) in CODE_KINDS:
        setattr(record, "code", issue_code(CODE_KINDS[type(record)]))  # noqa: B010
    check_record(record)
    if isinstance(record, Place) and not is_new and "stands_in" in changed:
        changed.remove("stands_in")
        _move(record, stamp or Stamp.now())
    _store(record, changed, is_new=is_new)
    _derive_again(record, before)


@transaction.atomic
def save_pairing(pairing: Pairing, values: Values) -> None:
    """Store a pairing; a new one without a method takes the usual one of the scion's crop."""
    values = dict(values)
    if pairing._state.adding and not values.get("method"):
        crop = values["scion"].crop
        if not crop.method:
            text = _("%(crop)s has no usual method yet. Choose one here.")
            error = ValidationError(text, code="no_method", params={"crop": crop.name})
            raise ValidationError({"method": error})
        values["method"] = crop.method
    save_record(pairing, values)


@transaction.atomic
def delete_record(record: models.Model) -> None:
    """Delete a record that nothing uses; ValidationError that says what uses it, or why it is kept."""
    _refuse_built_in(record)
    refuse_if_used(record)
    try:
        with transaction.atomic():
            record.delete()
    except (models.ProtectedError, IntegrityError) as error:
        raise ValidationError(_("Somebody has just begun to use this. It stays."), code="in_use") from error


def check_record(record: models.Model) -> None:
    """ValidationError, by field, unless every rule of the record's columns and neighbours holds."""
    record.clean_fields()
    _refuse_look_alike(record)
    errors: dict[str, list[str]] = {}
    for model, constraints in record.get_constraints():
        for constraint in constraints:
            try:
                constraint.validate(model, record)
            except ValidationError as error:
                field = FIELD_OF_CONSTRAINT.get(constraint.name, "__all__")
                errors.setdefault(field, []).extend(error.messages)
    if errors:
        raise ValidationError(errors)
    if isinstance(record, Season):
        _refuse_overlap(record)
    if isinstance(record, Place):
        _refuse_circle(record)


def _trimmed(record: models.Model, name: str, value: Any) -> Any:
    """Take white space off a text's ends, and out of the middle of a one-line text."""
    if not isinstance(value, str):
        return value
    is_one_line = not isinstance(record._meta.get_field(name), models.TextField)
    return " ".join(value.split()) if is_one_line else value.strip()


def _store(record: models.Model, changed: list[str], *, is_new: bool) -> None:
    """Insert the record, or write the changed columns alone, so that others' changes stay."""
    try:
        with transaction.atomic():
            if is_new:
                record.save(force_insert=True)
                return
            rows = type(record)._default_manager.filter(pk=record.pk)
            if changed and not rows.update(**{name: getattr(record, name) for name in changed}):
                raise ValidationError(_("Somebody else has deleted this meanwhile."), code="gone")
    except IntegrityError as error:
        text = _("Somebody else has just stored something that does not go with this. Try again.")
        raise ValidationError(text, code="conflict") from error


def _refuse_built_in(record: models.Model) -> None:
    if getattr(record, "is_built_in", False):
        text = _("“%(name)s” came with the program and stays as it is. Copy it and change the copy.")
        raise ValidationError(text, code="built_in", params={"name": record})


def _refuse_fixed(record: models.Model, changed: Iterable[str]) -> None:
    relation, fields = FIXED_IN_USE.get(type(record), ("", ()))
    touched = [name for name in fields if name in changed]
    if not touched or not getattr(record, relation).exists():
        return
    label = capfirst(str(record._meta.get_field(touched[0]).verbose_name))  # type: ignore[union-attr]
    text = _("%(label)s stays: this is used by %(uses)s. Make a new entry instead.")
    params = {"label": label, "uses": uses_of(record)}
    raise ValidationError({touched[0]: ValidationError(text, code="in_use", params=params)})


def look_alike(text: str) -> str:
    """Return a text as it is compared: capitals, spaces and ways of writing an accent make no difference."""
    return "".join(unicodedata.normalize("NFKC", text).casefold().split())


def _refuse_look_alike(record: models.Model) -> None:
    if type(record) not in LOOK_ALIKES:
        return
    scope, words = LOOK_ALIKES[type(record)]
    others = type(record)._default_manager.exclude(pk=record.pk)
    others = others.filter(**{name: getattr(record, name) for name in scope})
    mine = [look_alike(getattr(record, name)) for name in words]
    for row in others.values_list(*words):
        if [look_alike(text) for text in row] == mine:
            text = _("“%(name)s” is already in the book. Change that entry, or choose another name.")
            error = ValidationError(text, code="look_alike", params={"name": row[0]})
            raise ValidationError({words[0]: error})


def _refuse_overlap(season: Season) -> None:
    other = Season.objects.overlapping(season.starts_on, season.ends_on).exclude(pk=season.pk).first()
    if other is None:
        return
    field = "ends_on" if season.starts_on < other.starts_on else "starts_on"
    text = _("These days run into “%(name)s” (%(first)s to %(last)s). Choose days outside it.")
    params = {"name": other.name, "first": other.starts_on, "last": other.ends_on}
    raise ValidationError({field: ValidationError(text, code="overlap", params=params)})


def _move(place: Place, stamp: Stamp) -> None:
    """Move a place to where its record says, unless somebody has just done so."""
    if Place.objects.filter(pk=place.pk, stands_in=place.stands_in).exists():
        return
    try:
        move_place(place, into=place.stands_in, stamp=stamp)
    except ValidationError as error:  # somebody moved the other one meanwhile
        raise ValidationError({"stands_in": error.messages}) from error


def _refuse_circle(place: Place) -> None:
    """A place cannot stand in a place that stands, however deep, in itself."""
    above, passed = place.stands_in, [place.name]
    while above is not None and above.pk != place.pk and len(passed) <= Place.objects.count():
        passed.append(above.name)
        above = above.stands_in
    if above is not None:
        text = _("“%(outer)s” stands in “%(name)s” already. Choose a place that does not.")
        params = {"outer": passed[-1], "name": place.name}
        raise ValidationError({"stands_in": ValidationError(text, code="circle", params=params)})


def _derive_again(record: models.Model, before: Values) -> None:
    """Count again where a changed record day or season moves a record or a run's season.

    ``before`` has the old values of what was changed; those of a new record are None.
    """
    if isinstance(record, Pairing) and "record_days" in before:
        counting.recount_pairing(record)
    if isinstance(record, Season) and {"starts_on", "ends_on"} & set(before):
        starts_on = before.get("starts_on") or record.starts_on
        ends_on = before.get("ends_on") or record.ends_on
        counting.recount_days((starts_on, ends_on), (record.starts_on, record.ends_on))
