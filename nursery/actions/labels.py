"""Which labels wait, and printing them: of flats, sowings and places, or codes ahead."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Exists, OuterRef, QuerySet
from django.utils.translation import gettext as _

from nursery.actions.codes import issue_codes
from nursery.actions.label_words import address_of, farm_with_address, labels_of_codes
from nursery.actions.papers import all_stocks
from nursery.actions.stamp import Stamp
from nursery.calc.codes import FLAT
from nursery.labels import CodeLabel, Label, Stock, Words, render_labels
from nursery.labels.gaps import gaps_of
from nursery.models import Farm, Flat, LabelPrint, Place, PrintedCode, Run, Sowing

USUAL_STOCK = {Farm.Paper.A4: "a4-70x37", Farm.Paper.LETTER: "letter-4x2in"}
MOST_AT_ONCE = 200  # well under a second of drawing: meanwhile nobody's tap waits longer


@dataclass(frozen=True)
class Sheet:
    """The paper in the printer, by its name, and its first free position."""

    stock: str
    start: int = 1


def waiting_flats() -> QuerySet[Flat]:
    """Return the grafted flats whose label is still to be printed, oldest first.

    ``is_bare``: it bears a code printed ahead, which says nothing yet of what was grafted.
    """
    ahead = PrintedCode.objects.filter(code=OuterRef("code"), printed_by__isnull=False)
    grafted = Run.objects.filter(flat=OuterRef("pk"))
    return (
        Flat.objects.kept()
        .filter(Exists(grafted), ~Exists(_prints()))
        .annotate(is_bare=Exists(ahead))
        .order_by("created_at", "pk")
    )


def waiting_sowings() -> QuerySet[Sowing]:
    """Return the sowings that never had a label, the latest first."""
    return Sowing.objects.named().filter(~Exists(_prints())).order_by("-sown_on", "-pk")


def waiting_places() -> QuerySet[Place]:
    """Return the places that never had a label."""
    return Place.objects.filter(~Exists(_prints()))


def _prints() -> QuerySet[LabelPrint]:
    return LabelPrint.objects.filter(code=OuterRef("code"))


@transaction.atomic
def print_labels(codes: Sequence[str], *, on: Sheet, stamp: Stamp, with_gaps: bool = False) -> bytes:
    """Return the PDF of the labels with these codes, and note the print.

    ValidationError if a code is unknown, the position is not on the sheet, the farm has no address yet, or
    a name has characters that do not print, unless ``with_gaps`` says to leave a line for them.
    """
    stock = _stock_for(on, len(codes))
    _fix_address(stamp)
    labels = labels_of_codes(codes)
    if not with_gaps:
        _require_no_gaps(labels)
    pdf = _render(labels, stock, on.start)
    LabelPrint.objects.bulk_create(
        LabelPrint(code=code, stock=stock.name, printed_at=stamp.at, printed_by=stamp.account)
        for code in codes
    )
    return pdf


@transaction.atomic
def print_roll(count: int, *, on: Sheet, stamp: Stamp) -> bytes:
    """Return the PDF of ``count`` labels with codes that nothing bears yet; each is kept for its label."""
    stock = _stock_for(on, count)
    _fix_address(stamp)
    farm = farm_with_address()
    codes = issue_codes(FLAT, count)
    PrintedCode.objects.bulk_create(
        PrintedCode(code=code, printed_at=stamp.at, printed_by=stamp.account) for code in codes
    )
    labels = [CodeLabel(code=code, address=address_of(farm, code), farm=farm.name) for code in codes]
    return _render(labels, stock, on.start)


def _render(labels: Sequence[Label], stock: Stock, start: int) -> bytes:
    words = Words(
        on=_("on"), by=_("by"), grafted=_("Grafted"), record=_("record"), sown=_("Sown"), lot=_("Lot")
    )
    try:
        return render_labels(labels, stock, start=start, words=words)
    except ValueError as error:
        text = _("These labels do not fit on “%s” with the farm's address. Choose a larger paper.")
        raise ValidationError({"stock": text % stock.name}) from error


def _stock_for(sheet: Sheet, count: int) -> Stock:
    stock = all_stocks().get(sheet.stock)
    if stock is None:
        raise ValidationError(
            {"stock": _("There is no paper called %s: choose one from the list.") % sheet.stock}
        )
    if not 1 <= count <= MOST_AT_ONCE:
        raise ValidationError(
            {"count": _("Print 1 to %(most)d labels at a time.") % {"most": MOST_AT_ONCE}}, code="count"
        )
    if not 1 <= sheet.start <= stock.per_page:
        raise ValidationError({"start": _("This sheet has the positions 1 to %d.") % stock.per_page})
    return stock


def _require_no_gaps(labels: Sequence[Label]) -> None:
    texts = dict.fromkeys(f"{gap.text} ({gap.characters})" for label in labels for gap in gaps_of(label))
    if texts:
        text = _("Some characters do not print: %s. Say that a line to write on may stand in their place.")
        raise ValidationError({"with_gaps": ValidationError(text % ", ".join(texts), code="gaps")})


def _fix_address(stamp: Stamp) -> None:
    """From now on the address stays; before the labels are made, so that nobody changes it meanwhile."""
    Farm.objects.filter(pk=1, label_address_fixed_at__isnull=True).update(label_address_fixed_at=stamp.at)
