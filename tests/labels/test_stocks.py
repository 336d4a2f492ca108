"""The papers as plain numbers, re-added here from the measures that are printed on them."""

import itertools
from dataclasses import replace

import pytest

from nursery.labels import STOCKS, positions

# Page sizes: ISO 216 (A4); ANSI/ASME Y14.1 (Letter, 8.5 x 11 in); a roll's page is its label.
PAGES = {"A4": (210.0, 297.0), "Letter": (8.5 * 25.4, 11 * 25.4)}
# Labels a page and their size in mm, as such sheets are sold (common practice, no source).
SIZES = {
    "a4-70x37": (24, 70.0, 37.0),
    "a4-99x57": (10, 99.1, 57.0),
    "letter-4x2in": (10, 4 * 25.4, 2 * 25.4),
    "roll-57x32": (1, 57.0, 32.0),
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
    ],
)
def test_refuses_a_paper_that_cannot_be(change, words):
    with pytest.raises(ValueError, match=words):
        replace(STOCKS["a4-70x37"], **change)
