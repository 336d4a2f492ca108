"""The farm's own papers: stored by measure, refused by the field that is wrong."""

from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError

from nursery.actions.labels import Sheet, print_labels
from nursery.actions.papers import all_stocks, delete_paper, length_words, save_paper, stock_of
from nursery.actions.stamp import Stamp
from nursery.labels import STOCKS
from nursery.models import Farm, LabelPrint, LabelStock
from tests.factories import make_place

pytestmark = pytest.mark.django_db
SHEET = {
    "name": "Three across",
    "paper": "A4",
    "label_width_mm": Decimal(64),
    "label_height_mm": Decimal(34),
    "columns": 3,
    "rows": 8,
    "left_mm": Decimal(7),
    "top_mm": Decimal(12),
    "pitch_x_mm": Decimal(66),
    "pitch_y_mm": Decimal(34),
    "pad_mm": Decimal(2),
}


def stored(**changes):
    row = LabelStock()
    save_paper(row, {**SHEET, **changes})
    return LabelStock.objects.get(pk=row.pk)


def refused(**changes):
    with pytest.raises(ValidationError) as error:
        stored(**changes)
    assert not LabelStock.objects.exists()
    return {name: [e.messages[0] for e in errors] for name, errors in error.value.error_dict.items()}


def test_an_own_paper_is_a_stock_like_any_other(farm):
    stock = stock_of(stored(shift_x_mm=Decimal("-1.5")))
    assert (stock.page_width_mm, stock.per_page, stock.pitch_x_mm, stock.shift_x_mm) == (210, 24, 66, -1.5)
    assert list(all_stocks()) == ["Three across", *STOCKS]


def test_labels_without_a_distance_touch(farm):
    row = stored(pitch_x_mm=Decimal(0), pitch_y_mm=Decimal(0))
    assert (row.pitch_x_mm, row.pitch_y_mm) == (64, 34)


def test_a_roll_is_one_label_whatever_else_was_typed(farm):
    row = stored(paper="roll")
    assert (row.columns, row.rows, row.left_mm, row.pitch_x_mm) == (1, 1, 0, 0)
    assert stock_of(row).page_width_mm == 64


def test_too_many_across_is_said_in_millimetres(farm):
    said = refused(label_width_mm=Decimal(74), pitch_x_mm=Decimal(74))
    assert said == {
        "columns": ["3 labels of 74 mm across need 229 mm with the margin, the page has 210 mm."]
    }  # 7 + 3 x 74


def test_and_in_inches_where_the_farm_counts_so(farm):
    Farm.objects.update(units="us")
    said = refused(
        paper="Letter", rows=7, left_mm=0, label_width_mm=Decimal("76.2"), pitch_x_mm=Decimal("76.2")
    )
    assert said == {"columns": ["3 labels of 3 in across need 9 in with the margin, the page has 8.5 in."]}


@pytest.mark.parametrize(
    ("changes", "field", "word"),
    [
        ({"pitch_x_mm": Decimal(60)}, "pitch_x_mm", "at least 64 mm"),
        ({"pitch_y_mm": Decimal(30)}, "pitch_y_mm", "at least 34 mm"),
        ({"rows": 9}, "rows", "the page has 297 mm"),
        ({"pad_mm": Decimal(17)}, "pad_mm", "34 mm"),
        ({"shift_x_mm": Decimal(-10)}, "shift_x_mm", "at most 9 mm"),  # 7 mm of margin and 2 mm of edge
        ({"shift_y_mm": Decimal(20)}, "shift_y_mm", "at most"),
        ({"soil_mm": Decimal(31)}, "soil_mm", "less than 30 mm"),
        ({"label_height_mm": Decimal(12)}, "label_width_mm", "too small"),
        ({"label_width_mm": Decimal(0)}, "label_width_mm", "size"),
        ({"name": "A4-70X37"}, "name", "already"),
    ],
)
def test_each_fault_is_said_at_its_field(farm, changes, field, word):
    said = refused(**changes)
    assert word in " ".join(said[field])


def test_every_paper_that_is_taken_takes_every_label(farm):
    """Try many sizes: what is stored prints the longest of labels; the rest is refused, not broken."""
    taken = 0
    for width in range(20, 110, 15):
        for height in range(18, 140, 20):
            for soil in (0, 40):
                row = LabelStock()
                sizes = {
                    "label_width_mm": Decimal(width),
                    "label_height_mm": Decimal(height),
                    "soil_mm": soil,
                }
                try:
                    save_paper(row, {**SHEET, **sizes, "name": f"{width} {height} {soil}", "paper": "roll"})
                except ValidationError:
                    continue
                taken += 1
                place = make_place(f"Wörthmüller’s Großes Gewächshaus {width}{height}{soil}")
                assert print_labels([place.code], on=Sheet(row.name), stamp=Stamp.now())
    assert taken > 20


def test_two_papers_of_one_name_are_a_slip(farm):
    stored()
    with pytest.raises(ValidationError, match="already"):
        save_paper(LabelStock(), {**SHEET, "name": "three  ACROSS"})


def test_measures_may_change_but_not_the_name_once_labels_were_printed(farm):
    row = stored()
    LabelPrint.objects.create(code="F3K7QNX", stock=row.name, printed_at=Stamp.now().at)
    save_paper(row, {"left_mm": Decimal(8)})
    assert LabelStock.objects.get().left_mm == 8
    with pytest.raises(ValidationError, match="its name stays"):
        save_paper(LabelStock.objects.get(), {"name": "Other"})
    with pytest.raises(ValidationError, match="it stays"):
        delete_paper(row)
    LabelPrint.objects.all().delete()
    delete_paper(row)
    assert not LabelStock.objects.exists()


def test_keeps_what_somebody_else_changed_meanwhile(farm):
    row = stored()
    LabelStock.objects.update(top_mm=Decimal(10))
    save_paper(row, {"left_mm": Decimal(8)})
    kept = LabelStock.objects.get()
    assert (kept.left_mm, kept.top_mm) == (8, 10)


@pytest.mark.parametrize(
    ("mm", "is_inches", "words"),
    [
        (70, False, "70 mm"),
        (Decimal("66.68"), True, "2.625 in"),
        (100, False, "100 mm"),
        (254, True, "10 in"),
    ],
)
def test_lengths_are_said_in_the_farm_s_units(mm, is_inches, words):
    assert length_words(mm, is_inches=is_inches) == words
