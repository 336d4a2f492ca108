"""What stands on the labels of flats and sowings, and the prints of them."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import timedelta

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Count, Exists, OuterRef, QuerySet
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from nursery.actions.codes import issue_codes
from nursery.actions.stamp import Stamp
from nursery.calc.codes import FLAT, spoken
from nursery.labels import STOCKS, CodeLabel, FlatLabel, Label, SowingLabel, Words, render_labels
from nursery.models import Farm, Flat, LabelPrint, Method, PrintedCode, Run, Sowing

USUAL_STOCK = {Farm.Paper.A4: "a4-70x37", Farm.Paper.LETTER: "letter-4x2in"}
MOST_AT_ONCE = 200  # about a second of drawing: meanwhile nobody's tap waits longer


def waiting_flats() -> QuerySet[Flat]:
    """Return the flats that were put on at the bench and have no label yet, oldest first."""
    printed = LabelPrint.objects.filter(code=OuterRef("code"))
    ahead = PrintedCode.objects.filter(code=OuterRef("code"), printed_by__isnull=False)
    grafted = Run.objects.filter(flat=OuterRef("pk"))
    return (
        Flat.objects.kept()
        .filter(Exists(grafted), ~Exists(printed), ~Exists(ahead))
        .order_by("created_at", "pk")
    )


@transaction.atomic
def print_labels(codes: Sequence[str], *, stock: str, start: int, stamp: Stamp) -> bytes:
    """Return the PDF of the labels with these codes, and note the print.

    ValidationError if a code is unknown, the position is not on the sheet, or the farm has no address yet.
    """
    _require_stock(stock, len(codes), start)
    _fix_address(stamp)
    labels = labels_of_codes(codes)
    pdf = _render(labels, stock, start)
    LabelPrint.objects.bulk_create(
        LabelPrint(code=code, stock=stock, printed_at=stamp.at, printed_by=stamp.account) for code in codes
    )
    return pdf


@transaction.atomic
def print_roll(count: int, *, stock: str, start: int, stamp: Stamp) -> bytes:
    """Return the PDF of ``count`` labels with codes that nothing bears yet; each is kept for its label."""
    _require_stock(stock, count, start)
    _fix_address(stamp)
    farm = _farm_with_address()
    codes = issue_codes(FLAT, count)
    PrintedCode.objects.bulk_create(
        PrintedCode(code=code, printed_at=stamp.at, printed_by=stamp.account) for code in codes
    )
    labels = [CodeLabel(code=code, address=address_of(farm, code), farm=farm.name) for code in codes]
    return _render(labels, stock, start)


def labels_of_codes(codes: Sequence[str]) -> list[Label]:
    """Return what stands on the labels, in the order of ``codes``; ValidationError names unknown ones."""
    farm = _farm_with_address()
    found: dict[str, Label] = {}
    for flat in Flat.objects.kept().filter(code__in=codes).select_related("tray_format", "layout"):
        found[flat.code] = _blank_label(flat, farm)
    found |= _flat_labels(list(found), farm)
    for sowing in Sowing.objects.named().filter(code__in=codes):
        found[sowing.code] = _sowing_label(sowing, farm)
    unknown = [spoken(code) for code in codes if code not in found]
    if unknown:
        raise ValidationError({"codes": _("No flat and no sowing bears %s.") % ", ".join(unknown)})
    return [found[code] for code in codes]


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


def _render(labels: Sequence[Label], stock: str, start: int) -> bytes:
    words = Words(
        on=_("on"), by=_("by"), grafted=_("Grafted"), record=_("record"), sown=_("Sown"), lot=_("Lot")
    )
    return render_labels(labels, STOCKS[stock], start=start, words=words)


def _require_stock(stock: str, count: int, start: int) -> None:
    if stock not in STOCKS:
        raise ValidationError({"stock": _("There is no stock %s: choose one from the list.") % stock})
    if not 1 <= count <= MOST_AT_ONCE:
        raise ValidationError(
            {"count": _("Print 1 to %(most)d labels at a time.") % {"most": MOST_AT_ONCE}}, code="count"
        )
    last = STOCKS[stock].per_page
    if not 1 <= start <= last:
        raise ValidationError({"start": _("This sheet has the positions 1 to %d.") % last})


def _farm_with_address() -> Farm:
    farm = Farm.objects.current()
    if not farm.label_address:
        raise ValidationError(
            {
                "label_address": _(
                    "Labels need the address where phones find this program: set it under Records, Farm."
                )
            }
        )
    return farm


def _fix_address(stamp: Stamp) -> None:
    """From now on the address stays; before the labels are made, so that nobody changes it meanwhile."""
    Farm.objects.filter(pk=1, label_address_fixed_at__isnull=True).update(label_address_fixed_at=stamp.at)
