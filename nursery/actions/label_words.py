"""What stands on the labels of flats, sowings and places: values as a person reads them."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import timedelta

from django.core.exceptions import ValidationError
from django.db.models import Count
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from nursery.calc.codes import spoken
from nursery.labels import FlatLabel, Label, PlaceLabel, SowingLabel
from nursery.labels.gaps import Gap, gaps_of
from nursery.models import Farm, Flat, Method, Place, Run, Sowing


def labels_of_codes(codes: Sequence[str]) -> list[Label]:
    """Return what stands on the labels, in the order of ``codes``; ValidationError names unknown ones."""
    farm = farm_with_address()
    found: dict[str, Label] = {}
    for flat in Flat.objects.kept().filter(code__in=codes).select_related("tray_format", "layout"):
        found[flat.code] = _blank_label(flat, farm)
    found |= _flat_labels(list(found), farm)
    for sowing in Sowing.objects.named().filter(code__in=codes):
        found[sowing.code] = _sowing_label(sowing, farm)
    for place in Place.objects.filter(code__in=codes).select_related("stands_in"):
        found[place.code] = _place_label(place, farm)
    unknown = [spoken(code) for code in codes if code not in found]
    if unknown:
        raise ValidationError({"codes": _("No flat, sowing or place bears %s.") % ", ".join(unknown)})
    return [found[code] for code in codes]


def gaps_of_codes(codes: Sequence[str]) -> list[Gap]:
    """Return the texts on these labels that do not print whole; none before the farm has its address."""
    try:
        labels = labels_of_codes(codes)
    except ValidationError:
        return []
    return [gap for label in labels for gap in gaps_of(label)]


def farm_with_address() -> Farm:
    farm = Farm.objects.current()
    if not farm.label_address:
        text = _("Labels need the address where phones find this program: set it under Records, Farm.")
        raise ValidationError({"label_address": text})
    return farm


def address_of(farm: Farm, code: str) -> str:
    """Return what the QR symbol says, in capitals: the smallest symbol that a phone still opens."""
    return f"{farm.label_address}/{code}".upper()


def _blank_label(flat: Flat, farm: Farm) -> FlatLabel:
    """A flat without runs: sown, or a code taken into use; a pencil writes the rest."""
    return FlatLabel(
        code=flat.code, address=address_of(farm, flat.code), scion="", rootstock="", farm=farm.name
    )


def _flat_labels(codes: Sequence[str], farm: Farm) -> dict[str, Label]:
    runs = defaultdict(list)
    rows = Run.objects.named().filter(flat__code__in=codes, is_regraft=False).order_by("flat", "number")
    for run in rows.select_related("flat").annotate(plants=Count("cells")):
        runs[run.flat.code].append(run)
    return {code: _flat_label(code, flat_runs, farm) for code, flat_runs in runs.items()}


def _flat_label(code: str, runs: Sequence[Run], farm: Farm) -> FlatLabel:
    is_finished = all(run.finished_at for run in runs)
    plants = sum(getattr(run, "plants", 0) for run in runs)
    return FlatLabel(
        code=code,
        address=address_of(farm, code),
        scion=_each(run.pairing.scion.name for run in runs),
        rootstock=_each(run.pairing.rootstock.name for run in runs),
        grafted_on=date_format(min(run.grafted_on for run in runs), "DATE_FORMAT"),
        grafters=_each(_who(run) for run in runs),
        count=ngettext("%d plant", "%d plants", plants) % plants if is_finished else "",
        record_on=_record_words(runs),
        farm=farm.name,
    )


def _who(run: Run) -> str:
    return " + ".join(str(worker) for worker in (run.worker, run.second_worker) if worker)


def _each(names: Iterable[str]) -> str:
    """Return each name once, in the order in which they came."""
    return ", ".join(dict.fromkeys(name for name in names if name))


def _record_words(runs: Sequence[Run]) -> str:
    last = max(runs, key=lambda run: run.grafted_on + timedelta(days=run.pairing.record_days))
    days = last.pairing.record_days
    if last.method == Method.TONGUE:
        return _("%d days after severing") % days
    return date_format(last.grafted_on + timedelta(days=days), "DATE_FORMAT")


def _sowing_label(sowing: Sowing, farm: Farm) -> SowingLabel:
    return SowingLabel(
        code=sowing.code,
        address=address_of(farm, sowing.code),
        cultivar=sowing.lot.cultivar.name,
        lot=sowing.lot.lot_number,
        sown_on=date_format(sowing.sown_on, "DATE_FORMAT"),
        seeds=ngettext("%d seed", "%d seeds", sowing.seeds_count) % sowing.seeds_count,
        farm=farm.name,
    )


def _place_label(place: Place, farm: Farm) -> PlaceLabel:
    return PlaceLabel(
        code=place.code,
        address=address_of(farm, place.code),
        name=place.name,
        kind=str(place.get_kind_display()),
        within=_("in %s") % place.stands_in.name if place.stands_in else "",
        farm=farm.name,
    )
