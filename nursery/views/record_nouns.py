"""The kinds of records, one entry each: from it come the list, the search, the form and the hub.

To add one: a form in ``forms/records``, an entry here, a rule in ``actions/records`` where it has one.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.db.models import Count, Model, Q, QuerySet
from django.http import HttpRequest
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext

from nursery.actions.records import save_pairing, save_record
from nursery.actions.sowings import SownFlats, save_sowing
from nursery.calc.codes import spoken
from nursery.forms import records as forms
from nursery.forms.records.base import RecordForm, public_key
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
from nursery.views.page import stamp_of
from nursery.views.record_words import (
    crop_method,
    day,
    germination,
    layout_use,
    number,
    offset,
    percent_of,
    tray_picture,
)

Save = Callable[[Any, RecordForm, HttpRequest], None]
Text = str | Promise


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a list: its heading and what stands in it for one row."""

    heading: Text
    of: Callable[[Any], Any]
    is_number: bool = False


def _save(record: Any, form: RecordForm, request: HttpRequest) -> None:
    save_record(record, form.values())


@dataclass(frozen=True, slots=True)
class Noun:
    """A kind of record. ``needs`` names the kinds of which there must be one first."""

    slug: str
    model: type[Model]
    form: type[RecordForm]
    title: Text
    new: Text
    hint: Text
    search: tuple[str, ...]
    columns: tuple[Column, ...]
    name: Callable[[Any], str] = str
    needs: tuple[str, ...] = ()
    related: tuple[str, ...] = ()
    counts: tuple[tuple[str, str], ...] = ()
    has_page: bool = False
    save: Save = _save

    @property
    def key(self) -> str:
        return public_key(self.model)

    def rows(self) -> QuerySet[Any]:
        """Return the rows with all that a line of the list says, in one query."""
        rows = self.model._default_manager.select_related(*self.related)
        rows = rows.annotate(**{name: Count(path, distinct=True) for name, path in self.counts})
        return rows.order_by(*self.model._meta.ordering, "pk")  # said again: counting forgets the order

    def matching(self, text: str) -> QuerySet[Any]:
        """Return the rows in which every word of ``text`` occurs somewhere, in any case.

        By pattern, as SQLite's LIKE takes only the letters A to Z for the same in capitals.
        """
        rows = self.rows()
        for word in text.split():
            found = Q()
            for path in self.search:
                found |= Q(**{f"{path}__iregex": re.escape(word)})
            if "code" in self.search:
                found |= Q(code__icontains=word.replace("-", ""))
            rows = rows.filter(found)
        return rows

    def key_of(self, row: Any) -> str:
        return str(getattr(row, self.key))


def _save_place(record: Any, form: RecordForm, request: HttpRequest) -> None:
    save_record(record, form.values(), stamp=stamp_of(request))


def _save_pairing(record: Any, form: RecordForm, request: HttpRequest) -> None:
    save_pairing(record, form.values())


def _save_sowing(record: Any, form: RecordForm, request: HttpRequest) -> None:
    count, tray_format = form.cleaned_data["flats_count"], form.cleaned_data["tray_format"]
    flats = SownFlats(count, tray_format) if count and tray_format else None
    save_sowing(record, form.values(), flats=flats, stamp=stamp_of(request))


def _flats(row: Any) -> str:
    return ngettext("%d flat", "%d flats", row.flats_count) % row.flats_count if row.is_in_flats else ""


NOUNS = {
    noun.slug: noun
    for noun in (
        Noun(
            slug="crops",
            model=Crop,
            form=forms.CropForm,
            title=_("Crops"),
            new=_("New crop"),
            hint=_("What is harvested: tomato, cucumber. Enter the crop of the rootstock as well."),
            search=("name", "botanical_name"),
            columns=(
                Column(_("Usual method"), crop_method),
                Column(_("Cultivars"), lambda row: row.cultivars_count, is_number=True),
            ),
            counts=(("cultivars_count", "cultivars"),),
        ),
        Noun(
            slug="cultivars",
            model=Cultivar,
            form=forms.CultivarForm,
            title=_("Cultivars"),
            new=_("New cultivar"),
            hint=_("The varieties, used as scion, as rootstock or as either."),
            search=("name", "crop__name", "breeder"),
            columns=(
                Column(_("Crop"), lambda row: row.crop.name),
                Column(_("Used as"), lambda row: row.get_use_display()),
                Column(_("Breeder"), lambda row: row.breeder),
            ),
            needs=("crops",),
            related=("crop",),
        ),
        Noun(
            slug="pairings",
            model=Pairing,
            form=forms.PairingForm,
            title=_("Pairings"),
            new=_("New pairing"),
            hint=_("Which scion goes on which rootstock, with its usual method and record day."),
            search=("scion__name", "rootstock__name", "scion__crop__name"),
            columns=(
                Column(_("Crop"), lambda row: row.scion.crop.name),
                Column(_("Usual method"), lambda row: row.get_method_display()),
                Column(_("Sowing offset"), offset),
                Column(_("Record day"), lambda row: row.record_days, is_number=True),
            ),
            needs=("cultivars",),
            related=("scion__crop", "rootstock"),
            save=_save_pairing,
        ),
        Noun(
            slug="seed-lots",
            model=SeedLot,
            form=forms.SeedLotForm,
            title=_("Seed lots"),
            new=_("New seed lot"),
            hint=_("One delivery of seed of one cultivar."),
            search=("lot_number", "cultivar__name", "supplier", "treatment"),
            columns=(
                Column(_("Supplier"), lambda row: row.supplier),
                Column(_("Seeds"), lambda row: number(row.seeds_count), is_number=True),
                Column(_("Germination"), germination),
                Column(_("State"), lambda row: _("on hold") if row.is_on_hold else ""),
            ),
            needs=("cultivars",),
            related=("cultivar",),
        ),
        Noun(
            slug="sowings",
            model=Sowing,
            form=forms.SowingForm,
            title=_("Sowings"),
            new=_("New sowing"),
            hint=_("Seed of one lot sown on one day, with what came up."),
            search=("lot__cultivar__name", "lot__lot_number", "lot__cultivar__crop__name", "code"),
            name=lambda row: row.lot.cultivar.name,
            columns=(
                Column(_("Code"), lambda row: spoken(row.code)),
                Column(_("Lot"), lambda row: row.lot.lot_number),
                Column(_("Sown"), lambda row: day(row.sown_on)),
                Column(_("Seeds"), lambda row: number(row.seeds_count), is_number=True),
                Column(_("Stand"), lambda row: percent_of(row.stand_count, row.seeds_count), is_number=True),
                Column(_("In flats"), _flats),
            ),
            needs=("seed-lots",),
            related=("lot__cultivar",),
            counts=(("flats_count", "flats"),),
            has_page=True,
            save=_save_sowing,
        ),
        Noun(
            slug="tray-formats",
            model=TrayFormat,
            form=forms.TrayFormatForm,
            title=_("Tray formats"),
            new=_("New format"),
            hint=_("Rows and columns of the flats. The common ones are ready; add your own."),
            search=("name",),
            columns=(
                Column(_("Flat"), lambda row: tray_picture(row.rows, row.columns)),
                Column(_("Rows by columns"), lambda row: f"{row.rows} × {row.columns}"),
                Column(_("Cells"), lambda row: row.places_count, is_number=True),
                Column(_("Comes from"), lambda row: _("the program") if row.is_built_in else _("this farm")),
            ),
        ),
        Noun(
            slug="layouts",
            model=Layout,
            form=forms.LayoutForm,
            title=_("Layouts"),
            new=_("New layout"),
            hint=_("Which cells of a flat are used: every one, every other one, every other row."),
            search=("name",),
            columns=(
                Column(_("Pattern"), lambda row: row.get_pattern_display()),
                Column(_("Of 72 and 105 cells"), layout_use),
                Column(_("Comes from"), lambda row: _("the program") if row.is_built_in else _("this farm")),
            ),
        ),
        Noun(
            slug="workers",
            model=Worker,
            form=forms.WorkerForm,
            title=_("Workers"),
            new=_("New worker"),
            hint=_("Who grafts, cuts and checks, with or without a login."),
            search=("name", "note"),
            columns=(
                Column(_("Here now"), lambda row: _("yes") if row.is_active else _("no longer")),
                Column(_("Own login"), lambda row: _("yes") if row.account_id else _("none")),
                Column(_("First day"), lambda row: day(row.started_on)),
            ),
        ),
        Noun(
            slug="places",
            model=Place,
            form=forms.PlaceForm,
            title=_("Places"),
            new=_("New place"),
            hint=_("Benches, healing chambers, rooms, bays and trolleys. A place may stand in another."),
            search=("name", "stands_in__name", "note", "code"),
            columns=(
                Column(_("Code"), lambda row: spoken(row.code)),
                Column(_("Kind"), lambda row: row.get_kind_display()),
                Column(_("Stands in"), lambda row: row.stands_in.name if row.stands_in else ""),
                Column(_("Room for flats"), lambda row: number(row.capacity_flats), is_number=True),
            ),
            related=("stands_in",),
            has_page=True,
            save=_save_place,
        ),
        Noun(
            slug="seasons",
            model=Season,
            form=forms.SeasonForm,
            title=_("Seasons"),
            new=_("New season"),
            hint=_("Stretches of days by which takes are compared."),
            search=("name",),
            columns=(
                Column(_("First day"), lambda row: day(row.starts_on)),
                Column(_("Last day"), lambda row: day(row.ends_on)),
            ),
        ),
    )
}
FIRST_STEPS = ("crops", "cultivars", "pairings", "seed-lots", "sowings")
SLUG_OF = {noun.model: noun.slug for noun in NOUNS.values()}
