"""The label papers to choose from: those that come with the program, and the farm's own by measure."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from nursery.actions.records import look_alike, save_record
from nursery.labels import STOCKS, Stock
from nursery.labels.stocks import PAGES_MM, Fault, StockError
from nursery.labels.trial import require_room
from nursery.models import Farm, LabelPrint, LabelStock

Values = Mapping[str, Any]
MM_PER_INCH = Decimal("25.4")
SHEET_ONLY = {"columns": 1, "rows": 1, "left_mm": 0, "top_mm": 0, "pitch_x_mm": 0, "pitch_y_mm": 0}
# The field at which a grower mends a fault across and down.
FIELD_OF_FAULT = {
    "start": ("label_width_mm", "label_height_mm"),
    "pitch": ("pitch_x_mm", "pitch_y_mm"),
    "page": ("columns", "rows"),
    "pad": ("pad_mm", "pad_mm"),
    "shift": ("shift_x_mm", "shift_y_mm"),
    "soil": ("soil_mm", "soil_mm"),
}


def all_stocks() -> dict[str, Stock]:
    """Return every paper by its name: the farm's own first, then those of the program; one query."""
    return {stock.name: stock for _row, stock in own_papers() if stock} | STOCKS


def own_papers() -> list[tuple[LabelStock, Stock | None]]:
    """Return the farm's own papers; None beside one whose measures cannot be (stored past the form)."""
    found: list[tuple[LabelStock, Stock | None]] = []
    for row in LabelStock.objects.all():
        try:
            found.append((row, stock_of(row)))
        except StockError:
            found.append((row, None))
    return found


def stock_of(row: LabelStock) -> Stock:
    """Return an own paper's geometry; StockError with its faults where the measures cannot be."""
    label = (float(row.label_width_mm), float(row.label_height_mm))
    page = PAGES_MM.get(row.paper, label)
    return Stock(
        name=row.name,
        paper=row.paper,
        page_width_mm=page[0],
        page_height_mm=page[1],
        label_width_mm=label[0],
        label_height_mm=label[1],
        columns=row.columns,
        rows=row.rows,
        left_mm=float(row.left_mm),
        top_mm=float(row.top_mm),
        pitch_x_mm=float(row.pitch_x_mm or row.label_width_mm),
        pitch_y_mm=float(row.pitch_y_mm or row.label_height_mm),
        pad_x_mm=float(row.pad_mm),
        pad_y_mm=float(row.pad_mm),
        shift_x_mm=float(row.shift_x_mm),
        shift_y_mm=float(row.shift_y_mm),
        soil_mm=float(row.soil_mm),
    )


def tried_stock(row: LabelStock) -> Stock:
    """Return an own paper's geometry if labels of every kind go on it.

    ValidationError, by field, says which measure is wrong, in the farm's units.
    """
    farm = Farm.objects.current()
    try:
        stock = stock_of(row)
    except StockError as error:
        raise ValidationError(_refusals(error.faults, row, is_inches=farm.units == Farm.Units.US)) from error
    try:
        require_room(stock, farm.label_address)
    except ValueError as error:
        size = size_words(stock, is_inches=farm.units == Farm.Units.US)
        text = _("%(size)s are too small for the QR code and the text of a label. Enter a larger label.")
        raise ValidationError({"label_width_mm": text % {"size": size}}) from error
    return stock


def fill_in(row: LabelStock, values: Values) -> Values:
    """Set the values in the row in memory, and what follows from them; return all that is to be stored.

    A roll is one label; labels without a distance from one to the next touch each other.
    """
    for name, value in values.items():
        setattr(row, name, value)
    if row.paper == LabelStock.Paper.ROLL:
        changes: dict[str, Any] = dict(SHEET_ONLY)
    else:
        changes = {
            "pitch_x_mm": row.pitch_x_mm or row.label_width_mm,
            "pitch_y_mm": row.pitch_y_mm or row.label_height_mm,
        }
    for name, value in changes.items():
        setattr(row, name, value)
    return {**values, **changes}


@transaction.atomic
def save_paper(row: LabelStock, values: Values) -> None:
    """Store a new paper or a change of one; ValidationError, by field, where the measures cannot be."""
    old_name = row.name
    drawn = LabelStock(**{field.attname: getattr(row, field.attname) for field in LabelStock._meta.fields})
    values = fill_in(drawn, values)
    drawn.name = " ".join(drawn.name.split())
    _refuse_other_name(drawn, old_name)
    tried_stock(drawn)
    save_record(row, values)


@transaction.atomic
def delete_paper(row: LabelStock) -> None:
    """Delete a paper that nothing was printed on; ValidationError where labels were."""
    count = LabelPrint.objects.filter(stock=row.name).count()
    if count:
        text = _("Labels were printed on “%(name)s” %(count)d times: it stays. Change its measures instead.")
        raise ValidationError(text, code="in_use", params={"name": row.name, "count": count})
    row.delete()


def length_words(mm: float | Decimal, *, is_inches: bool) -> str:
    """Return a length in the farm's units: ``70 mm``, or ``2.625 in``."""
    length = Decimal(str(mm)) / (MM_PER_INCH if is_inches else 1)
    number = f"{length:.3f}" if is_inches else f"{length:.2f}"
    said = {"number": number.rstrip("0").rstrip(".")}
    return _("%(number)s in") % said if is_inches else _("%(number)s mm") % said


def size_words(stock: Stock, *, is_inches: bool) -> str:
    """Return a label's width and height: ``70 × 37 mm``."""
    width, height = (
        length_words(mm, is_inches=is_inches) for mm in (stock.label_width_mm, stock.label_height_mm)
    )
    return f"{width.rsplit(' ', 1)[0]} × {height}"


def _refuse_other_name(row: LabelStock, old_name: str) -> None:
    """A name is taken once, and stays once a print was noted under it."""
    mine = look_alike(row.name)
    others = [*STOCKS, *LabelStock.objects.exclude(pk=row.pk).values_list("name", flat=True)]
    if mine in map(look_alike, others):
        text = _("There is a paper called “%s” already. Choose another name.")
        raise ValidationError({"name": text % row.name})
    if row.pk and row.name != old_name and LabelPrint.objects.filter(stock=old_name).exists():
        text = _("Labels were printed on “%s”: its name stays. Make a new paper for a new name.")
        raise ValidationError({"name": text % old_name})


def _refusals(faults: tuple[Fault, ...], row: LabelStock, *, is_inches: bool) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for fault in faults:
        field = FIELD_OF_FAULT[fault.kind][fault.axis == "y"]
        found.setdefault(field, []).append(_refusal(fault, row, is_inches=is_inches))
    return found


def _refusal(fault: Fault, row: LabelStock, *, is_inches: bool) -> str:
    is_across = fault.axis == "x"
    size = row.label_width_mm if is_across else row.label_height_mm
    said = {
        "count": row.columns if is_across else row.rows,
        "size": length_words(size, is_inches=is_inches),
        "needs": length_words(abs(fault.needs_mm), is_inches=is_inches),
        "has": length_words(abs(fault.has_mm), is_inches=is_inches),
    }
    texts = {
        "start": _("A label needs a size, a count from 1 and a margin from 0."),
        "pitch": _("Labels of %(needs)s overlap when %(has)s lie from one to the next: at least %(needs)s."),
        "page": _page_words(is_across),
        "pad": _("Blank edges of %(needs)s together leave nothing of a label of %(has)s. Enter less."),
        "shift": _("Moved by %(needs)s, the print would leave the page: at most %(has)s that way."),
        "soil": _("With %(needs)s in the soil nothing stays above it: enter less than %(has)s."),
    }
    return texts[fault.kind] % said


def _page_words(is_across: bool) -> str:
    if is_across:
        return _("%(count)d labels of %(size)s across need %(needs)s with the margin, the page has %(has)s.")
    return _("%(count)d labels of %(size)s down need %(needs)s with the margin, the page has %(has)s.")
