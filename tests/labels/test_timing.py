"""The race is fair: both sides make labels that read, and each round has a figure for each."""

import pypdfium2
import zxingcpp

from nursery.labels import STOCKS
from nursery.labels.timing import plain_pdf, time_labels
from tests.labels.samples import short_flat


def test_the_floor_draws_labels_that_read():
    labels = [short_flat(n) for n in range(3)]
    (page,) = pypdfium2.PdfDocument(plain_pdf(labels, STOCKS["a4-70x37"]))
    found = zxingcpp.read_barcodes(page.render(scale=203 / 72, grayscale=True).to_pil())
    assert {one.text for one in found} == {label.address for label in labels}
    assert labels[2].scion in page.get_textpage().get_text_range()


def test_each_round_times_all_three():
    rounds = time_labels(4, rounds=2, seed=11)
    assert len(rounds) == 2
    assert all(one.keys() == {"floor", "first", "reprint"} and min(one.values()) > 0 for one in rounds)
