"""The farm's own papers on screen: list, form with its drawing, deletion, test page."""

from urllib.parse import quote
from uuid import uuid4

import pypdfium2
import pytest
import zxingcpp
from django.db import connection
from django.test.utils import CaptureQueriesContext

from nursery.models import Farm, LabelPrint, LabelStock
from tests.factories import make_place

pytestmark = pytest.mark.django_db
TYPED = {
    "name": "Three across",
    "paper": "A4",
    "label_width_mm": "64",
    "label_height_mm": "34",
    "columns": "3",
    "rows": "8",
    "left_mm": "7",
    "top_mm": "12",
    "pitch_x_mm": "66",
    "pitch_y_mm": "",
    "pad_mm": "2",
    "soil_mm": "",
    "shift_x_mm": "",
    "shift_y_mm": "-0,5",
}
NEW = "/labels/papers/new"


@pytest.fixture
def paper(farm):
    return LabelStock.objects.create(
        name="Own / & narrow", paper="roll", label_width_mm=60, label_height_mm=40, pad_mm=2
    )


def test_a_paper_is_stored_by_its_measures_and_shown(grower):
    answer = grower.post(NEW, TYPED)
    row = LabelStock.objects.get()
    assert answer.status_code == 302 and answer["Location"] == f"/labels/papers/{row.key}"
    assert (float(row.pitch_y_mm), float(row.shift_y_mm), row.columns) == (34, -0.5, 3)
    page = grower.get(answer["Location"]).content.decode()
    assert page.count('<rect class="label"') >= 24
    assert "Three across" in grower.get("/labels/papers").content.decode()


def test_inches_and_fractions_are_understood(grower):
    Farm.objects.update(units="us")
    sheet = {
        "paper": "Letter",
        "label_width_mm": "2 5/8",
        "label_height_mm": "1",
        "columns": "3",
        "rows": "10",
    }
    sheet |= {"left_mm": "3/16", "top_mm": "0.5", "pitch_x_mm": "2.75", "pad_mm": "0.05", "shift_y_mm": "0"}
    grower.post(NEW, TYPED | sheet | {"label_height_mm": "2", "rows": "5"})
    row = LabelStock.objects.get()
    assert float(row.label_width_mm) == 66.67  # 66.675, rounded down
    assert float(row.pitch_x_mm) == 69.85
    assert 'value="2.625"' in grower.get(f"/labels/papers/{row.key}").content.decode()


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"columns": "4"}, "the page has 210 mm"),
        ({"label_width_mm": ""}, "enter it"),
        ({"label_width_mm": "wide"}, "no number"),
        ({"rows": "0"}, "at least 1"),
        ({"name": ""}, "enter it"),
        ({"paper": "A3"}, "Choose from the list"),
        ({"name": "a4-70x37"}, "already"),
        ({"shift_x_mm": "-21"}, "at least -20"),
    ],
)
def test_wrong_measures_are_said_and_nothing_is_stored(grower, wrong, words):
    answer = grower.post(NEW, TYPED | wrong)
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert not LabelStock.objects.exists()


def test_the_sheet_is_drawn_while_typing_and_nothing_is_stored(grower):
    drawn = grower.get(NEW, TYPED | {"name": ""}, headers={"HX-Request": "true"})
    words = drawn.content.decode()
    assert drawn.status_code == 200 and "<h1" not in words
    assert words.count('<rect class="label"') == 24
    said = grower.get(NEW, TYPED | {"columns": "4"}, headers={"HX-Request": "true"}).content.decode()
    assert "the page has 210 mm" in said and "<rect" not in said
    assert not LabelStock.objects.exists()


def test_half_typed_measures_break_nothing(grower):
    for half in ({}, {"label_width_mm": "6"}, TYPED | {"rows": "x"}, {"label_width_mm": "nan"}):
        assert grower.get(NEW, half, headers={"HX-Request": "true"}).status_code == 200


def test_saving_keeps_what_somebody_else_changed(grower, paper):
    page = {"initial-label_width_mm": "60", "initial-label_height_mm": "40", "label_height_mm": "40"}
    LabelStock.objects.update(label_height_mm=45)
    page |= {"name": paper.name, "initial-name": paper.name, "paper": "roll", "initial-paper": "roll"}
    grower.post(f"/labels/papers/{paper.key}", page | {"label_width_mm": "62", "columns": 1, "rows": 1})
    row = LabelStock.objects.get()
    assert (row.label_width_mm, row.label_height_mm) == (62, 45)


def test_deletes_what_nothing_was_printed_on(grower, paper):
    address = f"/labels/papers/{paper.key}/delete"
    note = LabelPrint.objects.create(code="F3K7QNX", stock=paper.name, printed_at="2026-03-02T09:00Z")
    answer = grower.post(address)
    assert answer.status_code == 422 and "it stays" in answer.content.decode()
    note.delete()
    assert grower.post(address).status_code == 302
    assert not LabelStock.objects.exists()


def test_the_test_page_is_a_pdf_of_any_paper(crew, paper):
    for name in (paper.name, "a4-70x37", "stake-25x125"):
        answer = crew.get(f"/labels/papers/test/{quote(name)}")
        assert answer["Content-Type"] == "application/pdf"
        (page,) = pypdfium2.PdfDocument(answer.content)
        assert "100 %" in page.get_textpage().get_text_range().replace("\r\n", " ")
    assert crew.get("/labels/papers/test/a3").status_code == 404


@pytest.mark.parametrize("dpi", [203, 300])
def test_labels_print_on_an_own_paper_and_read_back(grower, paper, dpi):
    place = make_place()
    assert f"{paper.name}:".replace("&", "&amp;") in grower.get("/labels/places").content.decode()
    sheet = {"codes": [place.code], "stock": paper.name, "start": 1}
    answer = grower.post("/labels/print", sheet)
    (page,) = pypdfium2.PdfDocument(answer.content)
    (symbol,) = zxingcpp.read_barcodes(page.render(scale=dpi / 72).to_pil())
    assert symbol.text == f"HTTP://192.0.2.7:8000/{place.code}"
    assert LabelPrint.objects.get().stock == paper.name


@pytest.mark.parametrize(
    ("who", "reading", "changing"),
    [("grower", 200, 200), ("crew", 200, 403), ("tablet", 200, 403), ("stranger", 302, 302)],
)
def test_who_may_read_and_who_may_change(request, paper, who, reading, changing):
    client = request.getfixturevalue(who)
    for address in ("/labels/papers", f"/labels/papers/test/{quote(paper.name)}", "/labels/scripts"):
        assert client.get(address).status_code == reading
    for address in (NEW, f"/labels/papers/{paper.key}"):
        assert client.get(address).status_code == changing
        if changing != 200:
            assert client.post(address, TYPED).status_code == changing
    if changing != 200:
        assert client.post(f"/labels/papers/{paper.key}/delete").status_code == changing
    assert LabelStock.objects.get().name == paper.name


def test_what_is_not_there_and_what_is_asked_wrongly(grower, paper):
    assert grower.get(f"/labels/papers/{uuid4()}").status_code == 404
    assert grower.get(f"/labels/papers/{paper.key}/delete").status_code == 405
    assert grower.post("/labels/papers").status_code == 405
    assert grower.put(NEW).status_code == 405


def test_list_asks_as_often_for_two_as_for_twenty(crew, paper):
    def asked():
        with CaptureQueriesContext(connection) as queries:
            crew.get("/labels/papers")
        return len(queries)

    few = asked()
    for number in range(19):
        LabelStock.objects.create(name=str(number), paper="roll", label_width_mm=60, label_height_mm=40)
    assert asked() == few


def test_a_paper_whose_measures_cannot_be_stops_no_page(grower, paper):
    LabelStock.objects.update(paper="A4", columns=9)
    assert "do not go together" in grower.get("/labels/papers").content.decode()
    assert grower.get("/labels").status_code == 200
    assert "the page has 210 mm" in grower.get(f"/labels/papers/{paper.key}").content.decode()
