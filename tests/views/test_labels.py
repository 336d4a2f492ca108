"""Printing labels from the page."""

import pypdfium2
import pytest
import zxingcpp
from django.db import connection
from django.test.utils import CaptureQueriesContext

from nursery.models import LabelPrint, PrintedCode
from tests.factories import make_cultivar, make_flat, make_pairing, make_run, make_sowing

pytestmark = pytest.mark.django_db
PAPER = {"stock": "a4-70x37", "start": 1}


@pytest.fixture
def flat(farm):
    flat = make_flat()
    make_run(flat, pairing=make_pairing(make_cultivar("Amber <Lantern>"), make_cultivar("Stonefoot")))
    return flat


def symbols(pdf, dpi=203):
    pages = pypdfium2.PdfDocument(pdf)
    images = [page.render(scale=dpi / 72).to_pil() for page in pages]
    return [symbol.text for image in images for symbol in zxingcpp.read_barcodes(image)]


def test_queue_lists_what_waits(crew, flat):
    page = crew.get("/labels")
    assert page.status_code == 200
    assert f'value="{flat.code}"' in page.content.decode()
    assert "Amber &lt;Lantern&gt; on Stonefoot" in page.content.decode()


def test_prints_a_pdf_whose_symbol_opens_the_flat(crew, flat, bob):
    answer = crew.post("/labels/print", {"codes": [flat.code], **PAPER})
    assert answer["Content-Type"] == "application/pdf"
    assert symbols(answer.content) == [f"HTTP://192.0.2.7:8000/{flat.code}"]
    assert LabelPrint.objects.get().printed_by == bob


def test_remembers_the_stock_of_this_device(crew, flat):
    crew.post("/labels/print", {"codes": [flat.code], "stock": "roll-57x32", "start": 1})
    assert '<option value="roll-57x32" selected>' in crew.get("/labels").content.decode()


@pytest.mark.parametrize(
    "wrong",
    [
        {"codes": []},
        {"stock": "a3"},
        {"start": "99"},
        {"start": "x"},
        {"codes": ["F3K7QNX"]},
        {"codes": ["x"]},
    ],
)
def test_wrong_input_is_said_on_the_page_and_nothing_is_noted(crew, flat, wrong):
    answer = crew.post("/labels/print", {"codes": [flat.code], **PAPER, **wrong})
    assert answer.status_code == 422
    assert not LabelPrint.objects.exists()


def test_roll_prints_codes_ahead(crew, farm):
    answer = crew.post("/labels/roll", {"count": 3, "stock": "roll-57x32", "start": 1})
    assert len(symbols(answer.content)) == PrintedCode.objects.count() == 3


def test_roll_refuses_too_many(crew, farm):
    assert crew.post("/labels/roll", {"count": 201, **PAPER}).status_code == 422
    assert not PrintedCode.objects.exists()


def test_one_label_is_shown_as_it_will_print(crew, flat):
    page = crew.get(f"/{flat.code}/label").content.decode()
    assert '<svg class="label-picture"' in page and "Amber &lt;Lantern&gt;" in page
    assert crew.get(f"/{make_sowing().code}/label").status_code == 200


@pytest.mark.parametrize("address", ["/labels/print", "/labels/roll"])
def test_printing_takes_post_only_and_a_login(crew, stranger, address):
    assert crew.get(address).status_code == 405
    assert stranger.post(address).status_code == 302


def test_queue_asks_as_often_for_two_as_for_twenty(crew, farm):
    def asked():
        with CaptureQueriesContext(connection) as queries:
            crew.get("/labels")
        return len(queries)

    for _ in range(2):
        make_run(places=range(1, 3))
    few = asked()
    for _ in range(18):
        make_run(places=range(1, 3))
    assert asked() == few
