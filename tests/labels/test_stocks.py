"""The papers as plain numbers, re-added here from the measures that are printed on them."""

import itertools
from dataclasses import replace

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from nursery.labels import STOCKS, Stock, positions
from nursery.labels.stocks import PAGES_MM, StockError

# Page sizes: ISO 216 (A4); ANSI/ASME Y14.1 (Letter, 8.5 x 11 in); a roll's page is its label.
PAGES = {"A4": (210.0, 297.0), "Letter": (8.5 * 25.4, 11 * 25.4)}
# Labels a page and their size in mm, as such sheets are sold (common practice, no source).
SIZES = {
    "a4-70x37": (24, 70.0, 37.0),
    "a4-99x57": (10, 99.1, 57.0),
    "letter-4x2in": (10, 4 * 25.4, 2 * 25.4),
    "roll-57x32": (1, 57.0, 32.0),
    "stake-25x125": (1, 25.0, 125.0),
    "a4-stake-25x125": (16, 25.0, 125.0),
    "letter-stake-25x125": (16, 25.0, 125.0),
}


def test_every_stock_is_checked_here():
    assert set(STOCKS) == set(SIZES)
    assert all(name == stock.name for name, stock in STOCKS.items())


@pytest.mark.parametrize("name", STOCKS)
def test_page_and_label_have_the_measures_of_the_paper(name):
    stock = STOCKS[name]
    page = PAGES.get(stock.paper, SIZES[name][1:])
    assert (stock.page_width_mm, stock.page_height_mm) == pytest.approx(page)
    assert (stock.per_page, stock.label_width_mm, stock.label_height_mm) == pytest.approx(SIZES[name])


@pytest.mark.parametrize("name", STOCKS)
def test_no_label_leaves_the_page(name):
    stock = STOCKS[name]
    for _page, rect in positions(stock, stock.per_page):
        assert rect.x_mm >= 0
        assert rect.y_mm >= 0
        assert rect.x_mm + rect.width_mm <= stock.page_width_mm + 1e-6
        assert rect.y_mm + rect.height_mm <= stock.page_height_mm + 1e-6


@pytest.mark.parametrize("name", STOCKS)
def test_no_label_overlaps_another(name):
    stock = STOCKS[name]
    for (_, a), (_, b) in itertools.combinations(positions(stock, stock.per_page), 2):
        beside = a.x_mm + a.width_mm <= b.x_mm + 1e-6 or b.x_mm + b.width_mm <= a.x_mm + 1e-6
        below = a.y_mm + a.height_mm <= b.y_mm + 1e-6 or b.y_mm + b.height_mm <= a.y_mm + 1e-6
        assert beside or below


@pytest.mark.parametrize("name", [n for n, s in STOCKS.items() if s.per_page > 1])
def test_sheets_lie_in_the_middle_of_the_page(name):
    stock = STOCKS[name]
    places = [rect for _, rect in positions(stock, stock.per_page)]
    right = stock.page_width_mm - max(rect.x_mm + rect.width_mm for rect in places)
    bottom = stock.page_height_mm - max(rect.y_mm + rect.height_mm for rect in places)
    assert right == pytest.approx(stock.left_mm, abs=0.01)
    assert bottom == pytest.approx(stock.top_mm, abs=0.01)


@pytest.mark.parametrize("name", [n for n, s in STOCKS.items() if s.per_page > 1])
def test_ink_keeps_away_from_the_edge_that_a_desk_printer_leaves_blank(name):
    stock = STOCKS[name]
    assert stock.left_mm + stock.pad_x_mm >= 4.2  # common practice, no source
    assert stock.top_mm + stock.pad_y_mm >= 4.2


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"pitch_x_mm": 69.0}, "columns overlap"),
        ({"pitch_y_mm": 36.0}, "rows overlap"),
        ({"left_mm": 0.5}, "columns leave the page"),
        ({"rows": 9}, "rows leave the page"),
        ({"columns": 0}, "columns need"),
        ({"top_mm": -1.0}, "rows need"),
        ({"pad_x_mm": 35.0}, "no room"),
        ({"shift_x_mm": 4.6}, "leave the page when shifted by 4.6"),
        ({"shift_y_mm": -4.6}, "leave the page when shifted by -4.6"),
        ({"soil_mm": 30}, "above the soil"),
        ({"soil_mm": -1}, "above the soil"),
    ],
)
def test_refuses_a_paper_that_cannot_be(change, words):
    with pytest.raises(ValueError, match=words):
        replace(STOCKS["a4-70x37"], **change)


def test_tells_every_fault_with_its_lengths():
    with pytest.raises(StockError) as error:
        replace(STOCKS["a4-70x37"], left_mm=5, pitch_y_mm=30)
    assert [(f.kind, f.axis, f.needs_mm, f.has_mm) for f in error.value.faults] == [
        ("page", "x", 215, 210),  # 5 + 3 x 70
        ("pitch", "y", 37, 30),
    ]


def test_a_shift_moves_every_label():
    moved = replace(STOCKS["a4-70x37"], shift_x_mm=1.5, shift_y_mm=-0.5)
    pairs = zip(positions(STOCKS["a4-70x37"], 24), positions(moved, 24), strict=True)
    assert all((b.x_mm - a.x_mm, b.y_mm - a.y_mm) == pytest.approx((1.5, -0.5)) for (_, a), (_, b) in pairs)


LENGTH = st.decimals(0, 320, places=2).map(float)
SHORT = st.decimals(0, 20, places=2).map(float)
SHIFT = st.decimals(-9, 9, places=2).map(float)
COUNT = st.integers(0, 40)


@given(
    paper=st.sampled_from(list(PAGES_MM)),
    size=st.tuples(LENGTH, LENGTH),
    count=st.tuples(COUNT, COUNT),
    margin=st.tuples(SHORT, SHORT),
    gap=st.tuples(SHIFT, SHIFT),
    pad=SHORT,
    shift=st.tuples(SHIFT, SHIFT),
)
def test_a_paper_that_is_taken_never_prints_off_the_page_nor_on_two_labels(
    paper, size, count, margin, gap, pad, shift
):
    """Whatever is typed: it is refused with a reason, or all ink stays on the page and on its own label."""
    width, height = PAGES_MM[paper]
    try:
        stock = Stock(
            name="own",
            paper=paper,
            page_width_mm=width,
            page_height_mm=height,
            label_width_mm=size[0],
            label_height_mm=size[1],
            columns=count[0],
            rows=count[1],
            left_mm=margin[0],
            top_mm=margin[1],
            pitch_x_mm=size[0] + gap[0],
            pitch_y_mm=size[1] + gap[1],
            pad_x_mm=pad,
            pad_y_mm=pad,
            shift_x_mm=shift[0],
            shift_y_mm=shift[1],
        )
    except StockError as error:
        assert error.faults
        return
    places = [rect for _, rect in positions(stock, stock.per_page)]
    for rect in places:
        assert rect.x_mm + pad >= -1e-5 and rect.right_mm - pad <= width + 1e-5
        assert rect.y_mm + pad >= -1e-5 and rect.bottom_mm - pad <= height + 1e-5
    for a, b in itertools.combinations(places[: 2 * stock.columns], 2):
        assert not a.overlaps(b, slack_mm=1e-5)


@given(columns=st.integers(1, 12), rows=st.integers(1, 20), gap=st.floats(0, 4), margin=st.floats(0, 15))
def test_labels_that_fit_are_never_refused(columns, rows, gap, margin):
    wide = (210 - 2 * margin - (columns - 1) * gap) / columns
    high = (297 - 2 * margin - (rows - 1) * gap) / rows
    assume(wide > 4.1 and high > 4.1)
    stock = Stock(
        name="own",
        paper="A4",
        page_width_mm=210,
        page_height_mm=297,
        label_width_mm=wide,
        label_height_mm=high,
        columns=columns,
        rows=rows,
        left_mm=margin,
        top_mm=margin,
        pitch_x_mm=wide + gap,
        pitch_y_mm=high + gap,
    )
    assert stock.per_page == columns * rows
