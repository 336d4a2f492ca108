"""A real PDF, parsed and rendered by another library, its symbols read by a third."""

import unicodedata
from functools import lru_cache

import pypdfium2
import pytest
import zxingcpp

from nursery.labels import STOCKS, Rect, layout, positions, render_labels
from nursery.labels.boxes import TextBox
from tests.labels.samples import LONG_SCION, ONE_OF_EACH, a_place, blank_code, long_flat, short_flat, sowing

MM_PER_POINT = 25.4 / 72
EVERYWHERE = [(name, place) for name, stock in STOCKS.items() for place in range(1, stock.per_page + 1)]


def pages_of(labels, stock, **more):
    return list(pypdfium2.PdfDocument(render_labels(labels, stock, **more)))


def picture(page, dpi):
    return page.render(scale=dpi / 72, grayscale=True).to_pil()


def crop(image, rect, dpi):
    dots = dpi / 25.4
    return image.crop(tuple(round(v * dots) for v in (rect.x_mm, rect.y_mm, rect.right_mm, rect.bottom_mm)))


@lru_cache
def full_sheet(name, dpi):
    """A picture of a whole sheet of labels with the longest names."""
    stock = STOCKS[name]
    (page,) = pages_of([long_flat(n) for n in range(stock.per_page)], stock)
    return picture(page, dpi)


def read(image):
    return [(found.text, found.ec_level) for found in zxingcpp.read_barcodes(image)]


@pytest.mark.parametrize("dpi", [203, 300])
@pytest.mark.parametrize(("name", "place"), EVERYWHERE)
def test_every_symbol_reads_at_every_place_with_the_longest_names(name, place, dpi):
    stock = STOCKS[name]
    (_page, rect) = next(positions(stock, 1, start=place))
    assert read(crop(full_sheet(name, dpi), rect, dpi)) == [(long_flat(place - 1).address, "Q")]


@pytest.mark.parametrize("dpi", [203, 300])
@pytest.mark.parametrize("name", STOCKS)
@pytest.mark.parametrize("label", [sowing(3), blank_code(4), a_place(5)], ids=["sowing", "code", "place"])
def test_other_labels_read_too(label, name, dpi):
    (page,) = pages_of([label], STOCKS[name])
    assert read(picture(page, dpi)) == [(label.address, "Q")]


@pytest.mark.parametrize("name", STOCKS)
def test_quiet_zone_is_free_of_ink(name):
    stock, dpi = STOCKS[name], 600
    image = full_sheet(name, dpi)
    for n, (_page, place) in enumerate(positions(stock, stock.per_page)):
        box = layout(long_flat(n), stock)[0]
        quiet, side = 4 * box.module_mm, box.rect.width_mm
        left, top = place.x_mm + box.rect.x_mm, place.y_mm + box.rect.y_mm
        slack = 2 * 25.4 / dpi
        wide, narrow = side - 2 * slack, quiet - 2 * slack
        for zone in (
            Rect(left + slack, top + slack, wide, narrow),
            Rect(left + slack, top + side - quiet + slack, wide, narrow),
            Rect(left + slack, top + slack, narrow, wide),
            Rect(left + side - quiet + slack, top + slack, narrow, wide),
        ):
            assert crop(image, zone, dpi).getextrema() == (255, 255)
        dark = crop(image, Rect(left + quiet, top + quiet, 7 * box.module_mm, box.module_mm), dpi)
        assert dark.crop((2, 2, dark.width - 2, dark.height - 2)).getextrema() == (0, 0)  # finder's top edge


@pytest.mark.parametrize("name", STOCKS)
@pytest.mark.parametrize("kind", ONE_OF_EACH)
def test_ink_stays_inside_the_blank_edge_of_the_label(kind, name):
    stock, dpi = STOCKS[name], 300
    (_page, place) = next(positions(stock, 1, start=stock.per_page))
    (page,) = pages_of([ONE_OF_EACH[kind]], stock, start=stock.per_page)
    ink = picture(page, dpi).point(lambda value: 255 - value).getbbox()
    left, top, right, bottom = (value * 25.4 / dpi for value in ink)
    slack = 0.3  # a letter may lean a little out of its advance width, and dots are rounded
    assert left >= place.x_mm + stock.pad_x_mm - slack
    assert top >= place.y_mm + stock.pad_y_mm - slack
    assert right <= place.right_mm - stock.pad_x_mm + slack
    assert bottom <= place.bottom_mm - stock.pad_y_mm + slack


@pytest.mark.parametrize("name", STOCKS)
def test_text_stands_where_the_layout_says(name):
    """Each line's ink, as the other library sees it, lies in its box."""
    stock, label = STOCKS[name], long_flat()
    (page,) = pages_of([label], stock)
    (_page, place) = next(positions(stock, 1))
    words = page.get_textpage()
    for box in (box for box in layout(label, stock) if isinstance(box, TextBox)):
        left, top = place.x_mm + box.rect.x_mm, place.y_mm + box.rect.y_mm
        wide, high = (0, 0.3) if box.is_turned else (0.3, 0)  # along the line
        area = (left - wide, top - high, left + box.rect.width_mm + wide, top + box.rect.height_mm + high)
        found = words.get_text_bounded(*_points(area, stock))
        assert unicodedata.normalize("NFC", found).split() == box.text.split()


def _points(area, stock):
    left, top, right, bottom = area
    height = stock.page_height_mm
    return tuple(v / MM_PER_POINT for v in (left, height - bottom, right, height - top))


@pytest.mark.parametrize("name", STOCKS)
def test_pages_have_the_size_of_the_paper(name):
    stock = STOCKS[name]
    pages = pages_of([short_flat(n) for n in range(stock.per_page + 1)], stock)
    assert len(pages) == 2
    for page in pages:
        assert [v * MM_PER_POINT for v in page.get_size()] == pytest.approx(
            [stock.page_width_mm, stock.page_height_mm], abs=0.01
        )


def test_a_part_used_sheet_goes_on_at_the_place_given():
    stock = STOCKS["a4-99x57"]
    labels = [short_flat(n) for n in range(3)]
    first, second = pages_of(labels, stock, start=9)
    places = [rect for _, rect in positions(stock, stock.per_page)]
    readings = [read(crop(picture(first, 203), rect, 203)) for rect in places]
    assert readings == [[]] * 8 + [[(label.address, "Q")] for label in labels[:2]]
    assert read(picture(second, 203)) == [(labels[2].address, "Q")]


def test_accents_come_out_as_letters():
    (page,) = pages_of([long_flat()], STOCKS["letter-4x2in"])
    text = " ".join(page.get_textpage().get_text_range().split())
    assert LONG_SCION in text


def test_a_character_the_font_lacks_is_a_line_to_write_on():
    (page,) = pages_of([short_flat(scion="Tomate 日本")], STOCKS["roll-57x32"])
    said = page.get_textpage().get_text_range()
    assert "Tomate ______" in said
    assert "□" not in said and "\ufffd" not in said


def test_font_is_embedded_and_the_only_one():
    pdf = render_labels([short_flat()], STOCKS["roll-57x32"])
    fonts = {
        (font.get_base_name(), font.is_embedded)
        for obj in pypdfium2.PdfDocument(pdf)[0].get_objects()
        if isinstance(obj, pypdfium2.PdfTextObj)
        for font in [obj.get_font()]
    }
    assert fonts
    assert all("DejaVuSansCondensed" in name and embedded for name, embedded in fonts)


def test_asks_the_viewer_not_to_scale():
    pdf = render_labels([short_flat()], STOCKS["a4-70x37"])
    assert b"/PrintScaling /None" in pdf


def test_a_reprint_is_the_same_file():
    labels = [short_flat(), sowing(), blank_code()]
    assert render_labels(labels, STOCKS["a4-70x37"]) == render_labels(iter(labels), STOCKS["a4-70x37"])


def test_refuses_an_empty_queue():
    with pytest.raises(ValueError, match="at least one label"):
        render_labels([], STOCKS["a4-70x37"])


def test_refuses_a_place_that_is_not_on_the_sheet():
    with pytest.raises(ValueError, match="from 1 to 24"):
        render_labels([short_flat()], STOCKS["a4-70x37"], start=25)
