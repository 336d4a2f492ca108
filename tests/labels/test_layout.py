"""What stands where on one label, as plain numbers."""

import itertools
from dataclasses import replace

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from nursery.labels import STOCKS, FlatLabel, Rect, Words, layout
from nursery.labels.boxes import QrBox, RuleBox, TextBox
from nursery.labels.qr import symbol
from tests.labels.samples import (
    BASE,
    LONG_PEOPLE,
    ONE_OF_EACH,
    a_place,
    long_flat,
    nth_code,
    short_flat,
    sowing,
)

STAKES = {name: stock for name, stock in STOCKS.items() if stock.soil_mm}
FLAT_STOCKS = {name: stock for name, stock in STOCKS.items() if not stock.soil_mm}
LONGEST_REGULAR = 18.5  # mm: 29 modules and a quiet zone of 4 on each edge, 0.5 mm each


def texts(label, stock, **more):
    return [box.text for box in layout(label, stock, **more) if isinstance(box, TextBox)]


def qr_of(label, stock):
    (box,) = [box for box in layout(label, stock) if isinstance(box, QrBox)]
    return box


def assert_sound(label, stock):
    """Every box within the label's blank edge, no two overlapping, no type under 6 pt."""
    inside = Rect(
        stock.pad_x_mm,
        stock.pad_y_mm,
        stock.label_width_mm - 2 * stock.pad_x_mm,
        stock.label_height_mm - 2 * stock.pad_y_mm,
    )
    boxes = layout(label, stock)
    assert all(inside.holds(box.rect, slack_mm=1e-3) for box in boxes)
    for a, b in itertools.combinations(boxes, 2):
        assert not a.rect.overlaps(b.rect, slack_mm=1e-3), (a, b)
    assert all(box.size_pt >= 6 for box in boxes if isinstance(box, TextBox))


@pytest.mark.parametrize("stock", STOCKS.values(), ids=STOCKS)
@pytest.mark.parametrize("kind", ONE_OF_EACH)
def test_nothing_leaves_the_label_or_overlaps(kind, stock):
    assert_sound(ONE_OF_EACH[kind], stock)


NAMES = st.text(st.characters(codec="utf-8"), max_size=120) | st.text("WŻẲĝ jíŷ-·,", max_size=120)


@settings(max_examples=60, deadline=None)
@given(
    stock=st.sampled_from(list(STOCKS.values())),
    names=st.tuples(NAMES, NAMES, NAMES, NAMES, NAMES, NAMES),
    grafted=st.none() | NAMES,
)
@example(stock=STOCKS["roll-57x32"], names=("Ẳ" * 120,) * 6, grafted="Ẳ" * 120)
def test_nothing_leaves_the_label_or_overlaps_whatever_the_names(stock, names, grafted):
    scion, rootstock, grafters, count, record, farm = names
    label = short_flat(scion=scion, rootstock=rootstock, grafted_on=grafted)
    assert_sound(replace(label, grafters=grafters, count=count, record_on=record, farm=farm), stock)


@pytest.mark.parametrize("stock", FLAT_STOCKS.values(), ids=FLAT_STOCKS)
def test_says_everything_a_person_needs_without_a_device(stock):
    assert texts(short_flat(), stock) == [
        "Windhollow Farm",
        f"{nth_code(0)[:3]}-{nth_code(0)[3:]}",
        "Bellarosa",
        "on Ironfoot",
        "Grafted 28 Mar 2026",
        "by Ana, Bo",
        "72 plants · record 11 Apr 2026",
    ]


@pytest.mark.parametrize("stock", STOCKS.values(), ids=STOCKS)
def test_longest_names_leave_code_dates_and_count_whole(stock):
    said = " ".join(texts(long_flat(), stock))
    for whole in (f"{nth_code(0)[:3]}-", "Grafted 28 September 2026", "288 plants", "record 12 October 2026"):
        assert whole in said
    assert "Żółta Řeřicha Dvořákova" in said
    assert "on Großwüchsige" in said
    assert f"by {LONG_PEOPLE[:20]}" in said


def of_stake(label, stock):
    """The column of a stake tag, turned back: what a person reads with the tag laid on its side."""
    lines = [box for box in layout(label, stock) if isinstance(box, TextBox)]
    return [box.text for box in sorted(lines, key=lambda box: -box.rect.right_mm)]


@pytest.mark.parametrize("stock", STAKES.values(), ids=STAKES)
def test_a_stake_tag_says_it_all_along_the_tag(stock):
    assert of_stake(short_flat(), stock) == [
        f"{nth_code(0)[:3]}-{nth_code(0)[3:]}",
        "Bellarosa",
        "on Ironfoot",
        "Grafted 28 Mar 2026",
        "by Ana, Bo",
        "72 plants · record 11 Apr 2026",
    ]
    assert all(box.is_turned for box in layout(short_flat(), stock) if isinstance(box, TextBox))


@pytest.mark.parametrize("stock", STAKES.values(), ids=STAKES)
@pytest.mark.parametrize("kind", ONE_OF_EACH)
def test_a_stake_tag_has_nothing_in_the_soil_and_its_symbol_at_the_top(kind, stock):
    qr, *rest = layout(ONE_OF_EACH[kind], stock)
    soil = stock.label_height_mm - stock.pad_y_mm - stock.soil_mm
    assert all(box.rect.bottom_mm <= soil + 1e-6 for box in (qr, *rest))
    assert qr.rect.y_mm == stock.pad_y_mm
    assert qr.rect.bottom_mm < min(box.rect.y_mm for box in rest)
    assert stock.soil_mm >= 40


@pytest.mark.parametrize("name", ["a4-99x57", "letter-4x2in"])
def test_large_labels_show_names_of_75_characters_whole(name):
    said = " ".join(texts(long_flat(), STOCKS[name]))
    assert long_flat().scion in said
    assert long_flat().rootstock in said
    assert long_flat().grafters in said


@pytest.mark.parametrize("stock", STOCKS.values(), ids=STOCKS)
def test_a_place_is_named_largest_then_coded(stock):
    boxes = [box for box in layout(a_place(farm=""), stock) if isinstance(box, TextBox)]
    name, where, code = boxes
    assert [name.text, where.text] == ["Trolley 7", "Trolley · in Chamber A"]
    assert code.text == f"{nth_code(0, 'P')[:3]}-{nth_code(0, 'P')[3:]}"
    assert name.size_pt > code.size_pt > where.size_pt
    assert name.size_pt >= 14


@pytest.mark.parametrize("stock", STOCKS.values(), ids=STOCKS)
def test_code_is_the_largest_then_the_pairing_then_the_rest(stock):
    size = {
        box.text.split()[0]: box.size_pt for box in layout(short_flat(), stock) if isinstance(box, TextBox)
    }
    code = size[f"{nth_code(0)[:3]}-{nth_code(0)[3:]}"]
    assert code > 1.5 * size["Bellarosa"]
    assert size["Bellarosa"] >= size["Grafted"] >= size["by"] >= size.get("Windhollow", 6)
    assert size["Grafted"] > size["by"] or stock.soil_mm  # on a narrow tag both come to the least size


def test_leaves_room_to_write_before_the_grafting():
    said = texts(short_flat(grafted_on=None, grafters="", count="", record_on=""), STOCKS["a4-70x37"])
    assert said[-2:] == ["Grafted ____________", "by ____________"]


def test_sowing_says_cultivar_lot_day_and_seeds():
    said = texts(sowing(), STOCKS["a4-70x37"])
    assert said[2:] == ["Ironfoot", "Lot W-2291", "Sown 2 Mar 2026", "144 seeds"]


def test_code_printed_ahead_has_lines_to_write_on():
    boxes = layout(ONE_OF_EACH["code"], STOCKS["roll-57x32"])
    rules = [box.rect for box in boxes if isinstance(box, RuleBox)]
    assert len(rules) == 3
    assert rules[0].y_mm - rules[1].y_mm == pytest.approx(7)


def test_leaves_out_what_is_not_known():
    said = texts(short_flat(rootstock="", count="", grafters="", record_on="", farm=""), STOCKS["a4-70x37"])
    assert said[1:] == ["Bellarosa", "Grafted 28 Mar 2026"]


def test_prints_the_words_it_is_given():
    words = Words(on="auf", by="von", grafted="Veredelt", record="Stichtag")
    said = texts(short_flat(), STOCKS["a4-70x37"], words=words)
    assert said[3:] == [
        "auf Ironfoot",
        "Veredelt 28 Mar 2026",
        "von Ana, Bo",
        "72 plants · Stichtag 11 Apr 2026",
    ]


@pytest.mark.parametrize("stock", STOCKS.values(), ids=STOCKS)
def test_modules_are_whole_printer_dots_of_half_a_millimetre_or_more(stock):
    box = qr_of(long_flat(), stock)
    assert 0.5 <= box.module_mm <= 1
    assert (box.module_mm * 8) % 1 == 0  # 203 dpi are 8 dots a mm
    modules = symbol(box.address, box.level).side
    assert box.rect.width_mm == box.rect.height_mm == pytest.approx((modules + 8) * box.module_mm)


@pytest.mark.parametrize("stock", STOCKS.values(), ids=STOCKS)
def test_takes_level_q_for_an_address_of_usual_length(stock):
    assert qr_of(long_flat(), stock).level == "Q"
    assert qr_of(long_flat(), stock).rect.width_mm >= LONGEST_REGULAR


def test_falls_back_to_level_m_where_q_does_not_fit():
    # 115 capitals: Q needs version 7 (26.5 mm at 0.5 mm modules), M version 5 (22.5 mm); ISO/IEC 18004.
    label = replace(short_flat(), address=(BASE + "X" * 115)[:115])
    small = replace(STOCKS["roll-57x32"], page_height_mm=28, label_height_mm=28)
    box = qr_of(label, small)
    assert (box.level, box.module_mm, box.rect.width_mm) == ("M", 0.5, 22.5)


def test_says_when_the_address_is_too_long_for_the_paper():
    label = replace(short_flat(), address="https://" + "a" * 300)
    with pytest.raises(ValueError, match="must be shorter"):
        layout(label, STOCKS["roll-57x32"])


def test_refuses_a_code_that_is_none():
    with pytest.raises(ValueError):
        layout(FlatLabel(code="F000000", address="X", scion="a", rootstock="b"), STOCKS["a4-70x37"])
