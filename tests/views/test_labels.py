"""Printing labels from the page."""

import pypdfium2
import pytest
import zxingcpp
from django.db import connection
from django.test.utils import CaptureQueriesContext

from nursery.models import LabelPrint, PrintedCode
from tests.factories import make_cultivar, make_flat, make_pairing, make_place, make_run, make_sowing

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


def test_queue_says_what_has_a_bare_code_only(crew, flat):
    assert "bare code" not in crew.get("/labels").content.decode()
    crew.post("/labels/roll", {"count": 1, **PAPER})
    PrintedCode.objects.update(code=flat.code)
    assert "bears a bare code only" in crew.get("/labels").content.decode()


@pytest.mark.parametrize(
    ("address", "make"), [("/labels/places", make_place), ("/labels/sowings", make_sowing)]
)
@pytest.mark.parametrize("dpi", [203, 300])
@pytest.mark.parametrize("stock", ["a4-70x37", "a4-stake-25x125"])
def test_places_and_sowings_print_all_at_once(crew, address, make, dpi, stock):
    codes = [make().code for _ in range(10)]
    page = crew.get(address).content.decode()
    assert all(f'value="{code}" checked' in page for code in codes)
    answer = crew.post("/labels/print", {"codes": codes, "page": address[8:], "stock": stock, "start": 3})
    assert set(symbols(answer.content, dpi)) == {f"HTTP://192.0.2.7:8000/{code}" for code in codes}
    assert not any(code in crew.get(address).content.decode() for code in codes)
    assert all(code in crew.get(f"{address}?all").content.decode() for code in codes)


def test_a_refused_print_comes_back_to_the_list_it_came_from(crew, farm):
    one, other = make_place(), make_place()
    answer = crew.post("/labels/print?all", {"codes": [one.code], "page": "places", **PAPER, "start": 99})
    page = answer.content.decode()
    assert answer.status_code == 422
    assert f'value="{one.code}" checked' in page and f'value="{other.code}">' in page


def test_names_that_do_not_print_are_listed_and_wait_for_a_word(crew, farm):
    place = make_place("番茄 <Bench>")
    page = crew.get("/labels/places").content.decode()
    assert "番茄 &lt;Bench&gt;</b>" in page and 'name="with_gaps"' in page
    sent = {"codes": [place.code], "page": "places", **PAPER}
    refused = crew.post("/labels/print", sent)
    assert (
        refused.status_code == 422 and "do not print: 番茄 &lt;Bench&gt; (番茄)" in refused.content.decode()
    )
    assert not LabelPrint.objects.exists()
    printed = crew.post("/labels/print", {**sent, "with_gaps": "on"})
    said = pypdfium2.PdfDocument(printed.content)[0].get_textpage().get_text_range()
    assert "______ <Bench>" in said
    assert symbols(printed.content) == [f"HTTP://192.0.2.7:8000/{place.code}"]


def test_names_that_print_ask_nothing(crew, farm):
    make_place("Chambre nº 1, צמח")
    assert "with_gaps" not in crew.get("/labels/places").content.decode()


def test_one_label_of_a_place_and_its_refusal(crew, farm):
    place = make_place("Trolley <7>")
    assert "Trolley &lt;7&gt;" in crew.get(f"/{place.code}/label").content.decode()
    answer = crew.post("/labels/print", {"codes": [place.code], "page": "one", **PAPER, "start": 99})
    assert answer.status_code == 422 and "positions 1 to 24" in answer.content.decode()
    assert '<svg class="label-picture"' in answer.content.decode()


def test_scripts_page_says_what_prints(crew):
    page = crew.get("/labels/scripts").content.decode()
    assert page.count("does not print</td>") == 10
    assert "prints, all but" in page


@pytest.mark.parametrize("address", ["/labels/places", "/labels/sowings", "/labels/places?all"])
def test_lists_ask_as_often_for_two_as_for_twenty(crew, farm, address):
    def asked():
        with CaptureQueriesContext(connection) as queries:
            crew.get(address)
        return len(queries)

    for _ in range(2):
        make_place(stands_in=make_place())
        make_sowing()
    few = asked()
    for _ in range(18):
        make_place(stands_in=make_place())
        make_sowing()
    assert asked() == few
