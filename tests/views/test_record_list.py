"""The lists of the records and their hub: reading, searching, turning pages, what to do first."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from nursery.models import Crop
from nursery.views.record_nouns import NOUNS
from tests.factories import make_crop, make_cultivar, make_lot
from tests.views.record_data import MAKERS

HTMX = {"HTTP_HX_REQUEST": "true"}
READERS = [("grower", 200), ("crew", 200), ("tablet", 200), ("stranger", 302)]


def address(slug):
    return reverse("record-list", args=[slug])


def queries(client, slug):
    with CaptureQueriesContext(
        connection,
    ) as captured:
        assert client.get(address(slug)).status_code == 200
    return len(captured)


@pytest.mark.parametrize("slug", NOUNS)
def test_lists_a_row(grower, slug):
    MAKERS[slug](1)
    assert "Row 1" in grower.get(address(slug)).content.decode()


@pytest.mark.parametrize("slug", NOUNS)
def test_200_distinct_rows_cost_the_queries_of_2(grower, slug):
    for n in range(2):
        MAKERS[slug](n)
    few = queries(grower, slug)
    for n in range(2, 200):
        MAKERS[slug](n)
    assert queries(grower, slug) == few


@pytest.mark.parametrize("slug", NOUNS)
@pytest.mark.parametrize(("who", "status"), READERS)
def test_who_reads(request, slug, who, status):
    assert request.getfixturevalue(who).get(address(slug)).status_code == status


@pytest.mark.parametrize("slug", NOUNS)
def test_only_a_grower_is_led_to_a_form(grower, crew, slug):
    row = MAKERS[slug](1)
    form = reverse("record-edit", args=[slug, NOUNS[slug].key_of(row)])
    new = reverse("record-new", args=[slug])
    assert new in grower.get(address(slug)).content.decode()
    page = crew.get(address(slug)).content.decode()
    assert new not in page
    assert form not in page


def test_reads_only(grower):
    assert grower.post(address("crops")).status_code == 405


def test_an_unknown_kind_is_not_found(grower):
    assert grower.get(address("tractors")).status_code == 404


@pytest.mark.parametrize("search", ["ost", "OSTR", "ÉCL ostr", "école tom"])
def test_finds_by_all_words_in_any_case(grower, search):
    make_cultivar("Éclair Ostrava", crop=make_crop("Tomato École"))
    make_cultivar("Basil", crop=make_crop("Pepper"))
    page = grower.get(address("cultivars"), {"q": search}).content.decode()
    assert "Éclair Ostrava" in page
    assert "Basil" not in page


def test_signs_in_a_search_are_signs(grower):
    make_crop("Tomato")
    make_crop("A.*B")
    page = grower.get(address("crops"), {"q": ".*"}).content.decode()
    assert "A.*B" in page
    assert "Tomato" not in page


def test_finds_a_sowing_by_its_code_as_spoken(grower):
    sowing = MAKERS["sowings"](1)
    MAKERS["sowings"](2)
    page = grower.get(
        address("sowings"), {"q": f"{sowing.code[:3]}-{sowing.code[3:].lower()}"}
    ).content.decode()
    assert "Row 1" in page
    assert "Row 2" not in page


def test_nothing_found_says_how_to_go_on(grower):
    make_crop()
    page = grower.get(address("crops"), {"q": "<b>zebra"}).content.decode()
    assert "Nothing in the book fits “&lt;b&gt;zebra”" in page


def test_htmx_gets_the_rows_alone(grower):
    make_crop()
    response = grower.get(address("crops"), {"q": "tom"}, **HTMX)
    page = response.content.decode()
    assert page.strip().startswith('<div id="record-rows"')
    assert "<html" not in page
    assert "HX-Request" in response["Vary"]


def test_50_rows_a_page_and_the_search_stays(grower):
    Crop.objects.bulk_create(Crop(name=f"Crop {n:03d}") for n in range(60))
    page = grower.get(address("crops"), {"q": "crop"}).content.decode()
    assert page.count("<tr>") == 51
    assert "q=crop&amp;page=2" in page
    page = grower.get(address("crops"), {"q": "crop", "page": 2}).content.decode()
    assert page.count("<tr>") == 11


@pytest.mark.parametrize(
    ("slug", "first"),
    [("crops", "crops"), ("cultivars", "crops"), ("pairings", "crops"), ("sowings", "crops")],
)
def test_an_empty_list_leads_to_what_comes_first(grower, slug, first):
    assert reverse("record-new", args=[first]) in grower.get(address(slug)).content.decode()


def test_the_step_that_is_missing_is_named(grower):
    make_crop()
    assert reverse("record-new", args=["cultivars"]) in grower.get(address("pairings")).content.decode()
    make_lot()
    assert reverse("record-new", args=["sowings"]) in grower.get(address("sowings")).content.decode()


def test_layouts_say_how_many_cells_of_the_105_they_use(grower):
    from nursery.actions.starting import ensure_starting_values

    ensure_starting_values()
    page = grower.get(address("layouts")).content.decode()
    assert "36 and 53" in page
    assert "36 and 52" in page


def test_the_hub_says_what_is_next(grower):
    assert "Next to do: Crops" in grower.get(reverse("records")).content.decode()
    make_crop()
    assert "Next to do: Cultivars" in grower.get(reverse("records")).content.decode()


@pytest.mark.parametrize(("who", "status"), READERS)
def test_who_reads_the_hub(request, who, status):
    assert request.getfixturevalue(who).get(reverse("records")).status_code == status
