"""The test page: outlines and rulers at the right millimetre, as numbers and as ink on the real page."""

from dataclasses import replace

import pypdfium2
import pytest

from nursery.labels import STOCKS, positions, render_test_page
from nursery.labels.boxes import RuleBox, TextBox
from nursery.labels.pdf import font_metrics
from nursery.labels.testpage import INCHES, MILLIMETRES, edge_of, marks, page_boxes

TEXTS = ["name", "Print at 100 %, not fitted to the page.", "Mark 20 must lie 20 mm from the paper's edge."]


def boxes_of(stock, *, is_inches=False):
    return page_boxes(stock, TEXTS, font_metrics(), is_inches=is_inches)


@pytest.mark.parametrize("stock", STOCKS.values(), ids=STOCKS)
def test_every_label_has_an_outline_and_a_cross_in_its_middle(stock):
    bars = {
        (round(b.rect.x_mm, 2), round(b.rect.y_mm, 2), round(b.rect.width_mm, 2), round(b.rect.height_mm, 2))
        for b in boxes_of(stock)
        if isinstance(b, RuleBox)
    }
    for _page, place in positions(stock, stock.per_page):
        left, top = round(place.x_mm, 2), round(place.y_mm, 2)
        assert (left, top, round(place.width_mm, 2), 0.2) in bars
        assert (left, top, 0.2, round(place.height_mm, 2)) in bars
        x, y = place.x_mm + place.width_mm / 2, place.y_mm + place.height_mm / 2
        assert (round(x - 3, 2), round(y - 0.1, 2), 6.0, 0.2) in bars


@pytest.mark.parametrize("stock", STOCKS.values(), ids=STOCKS)
def test_nothing_leaves_the_page_and_no_two_texts_overlap(stock):
    boxes = boxes_of(stock)
    for box in boxes:
        assert box.rect.x_mm >= -1e-6 and box.rect.right_mm <= stock.page_width_mm + 1e-6
        assert box.rect.y_mm >= -1e-6 and box.rect.bottom_mm <= stock.page_height_mm + 1e-6
    lines = [box.rect for box in boxes if isinstance(box, TextBox)]
    assert not [(a, b) for n, a in enumerate(lines) for b in lines[:n] if a.overlaps(b, slack_mm=0.05)]


@pytest.mark.parametrize("stock", STOCKS.values(), ids=STOCKS)
def test_says_at_which_size_to_print(stock):
    said = " ".join(box.text for box in boxes_of(stock) if isinstance(box, TextBox))
    assert "Print at 100 %, not fitted to the page." in said or "Print at 100 %," in said


def test_rulers_count_from_the_page_s_edge():
    numbered = [(along, number) for along, _size, number in marks(210, MILLIMETRES) if number]
    assert numbered[0] == (10, "10") and numbered[-1] == (200, "200")
    inches = [(along, number) for along, _size, number in marks(215.9, INCHES) if number]
    assert inches[:2] == [(25.4, "1"), (50.8, "2")] and inches[-1][1] == "8"


def test_a_mark_of_the_ruler_is_ink_at_its_millimetre_and_moves_with_the_shift():
    """Read from the page itself, at 600 dots an inch: the mark of 100 mm on the upper ruler."""
    for shift in (0, 1.5):
        stock = replace(STOCKS["a4-99x57"], shift_x_mm=shift, shift_y_mm=shift)
        (page,) = pypdfium2.PdfDocument(render_test_page(stock, TEXTS))
        image, dots = page.render(scale=600 / 72, grayscale=True).to_pil(), 600 / 25.4
        row = round((edge_of(297) + 3.5 + shift) * dots)  # only numbered marks are that long
        dark = [x for x in range(round(95 * dots), round(103 * dots)) if image.getpixel((x, row)) < 128]
        middle = (dark[0] + dark[-1]) / 2 / dots
        assert len(dark) <= 6
        assert middle == pytest.approx(100 + shift, abs=0.05)


def test_asks_for_no_scaling_and_has_the_size_of_the_paper():
    pdf = render_test_page(STOCKS["letter-4x2in"], TEXTS, is_inches=True)
    (page,) = pypdfium2.PdfDocument(pdf)
    assert page.get_size() == pytest.approx((612, 792))
    assert b"/PrintScaling /None" in pdf
