"""New records: a short form of each kind, what fills it in, where it leads, what it refuses."""

from decimal import Decimal

import pytest
from django.urls import reverse

from nursery.models import Crop, Cultivar, Farm, Flat, Pairing, SeedLot, Sowing, TrayFormat
from nursery.views.record_nouns import NOUNS
from tests.factories import make_crop, make_cultivar, make_format, make_layout, make_lot, make_pairing
from tests.views.record_data import WRONG, typed

ACCESS = [("grower", 302), ("crew", 403), ("tablet", 403), ("stranger", 302)]


def address(slug):
    return reverse("record-new", args=[slug])


@pytest.mark.parametrize("slug", NOUNS)
def test_stores_what_was_typed(grower, slug):
    before = NOUNS[slug].model.objects.count()
    response = grower.post(address(slug), typed(slug))
    assert response.status_code == 302
    assert NOUNS[slug].model.objects.count() == before + 1


@pytest.mark.parametrize("slug", NOUNS)
@pytest.mark.parametrize(("who", "status"), ACCESS)
def test_only_a_grower_stores(db, request, slug, who, status):
    client, data = request.getfixturevalue(who), typed(slug)
    before = NOUNS[slug].model.objects.count()
    response = client.post(address(slug), data)
    assert response.status_code == status
    assert NOUNS[slug].model.objects.count() == before + (who == "grower")
    assert response.headers.get("Location", "").startswith("/login") == (who == "stranger")


@pytest.mark.parametrize(("name", "words"), [("", "Name: enter it"), ("x" * 61, "Name: at most 60 letters")])
def test_a_name_that_is_no_name(grower, name, words):
    response = grower.post(address("crops"), {"name": name})
    assert response.status_code == 422
    assert words in response.content.decode()


def test_crew_does_not_see_the_form(crew):
    assert crew.get(address("crops")).status_code == 403


@pytest.mark.parametrize("method", ["put", "delete", "patch"])
def test_wrong_method(grower, method):
    assert getattr(grower, method)(address("crops")).status_code == 405


@pytest.mark.parametrize("slug", NOUNS)
def test_wrong_input_stores_nothing_and_says_what_to_mend(grower, slug):
    field, wrong, words = WRONG[slug]
    before, data = NOUNS[slug].model.objects.count(), {**typed(slug), field: wrong}
    response = grower.post(address(slug), data)
    page = response.content.decode()
    assert response.status_code == 422
    assert words in page
    assert NOUNS[slug].model.objects.count() == before
    assert "Okra" in page or slug in ("pairings", "sowings")


@pytest.mark.parametrize("slug", NOUNS)
def test_three_fields_at_most_stand_first(slug):
    assert len(NOUNS[slug].form.front) <= 3


def test_the_fold_opens_where_something_in_it_is_wrong(grower):
    data = typed("pairings")
    assert '<details class="folded">' in grower.get(address("pairings")).content.decode()
    page = grower.post(address("pairings"), {**data, "record_days": "0"}).content.decode()
    assert '<details class="folded" open>' in page


@pytest.mark.parametrize("noun, name", [("seed-lots", "germination_share"), ("seed-lots", "price")])
@pytest.mark.parametrize("written", ["nan", "inf", "-Infinity"])
def test_what_is_a_number_to_a_computer_only_is_refused(grower, noun, name, written):
    answer = grower.post(address(noun), {**typed(noun), name: written})
    assert answer.status_code == 422
    assert "this is no number" in answer.content.decode()


@pytest.mark.parametrize(
    ("written", "stored"), [("92,5", "0.925"), ("92.5 %", "0.925"), ("100%", "1"), ("0", "0")]
)
def test_germination_is_typed_as_percent_with_point_or_comma(grower, written, stored):
    grower.post(address("seed-lots"), {**typed("seed-lots"), "germination_share": written})
    assert SeedLot.objects.get().germination_share == Decimal(stored)


@pytest.mark.parametrize(("written", "stored"), [("12,50", "12.50"), ("12.5", "12.50"), ("1 200", "1200")])
def test_a_price_may_have_a_comma(grower, written, stored):
    grower.post(address("seed-lots"), {**typed("seed-lots"), "price": written})
    assert SeedLot.objects.get().price == Decimal(stored)


@pytest.mark.parametrize("written", ["1.200,50", "1,200.50", "1,200", "cheap", "NaN", "-1"])
def test_a_price_is_never_guessed(grower, written):
    response = grower.post(address("seed-lots"), {**typed("seed-lots"), "price": written})
    assert response.status_code == 422
    assert written in response.content.decode()
    assert not SeedLot.objects.exists()


def test_a_length_is_typed_in_the_farms_units(grower):
    grower.post(address("tray-formats"), {**typed("tray-formats"), "length_mm": "540"})
    assert TrayFormat.objects.get().length_mm == 540
    Farm.objects.update(units="us")
    grower.post(address("tray-formats"), {**typed("tray-formats"), "name": "Other", "length_mm": "21,25"})
    assert TrayFormat.objects.get(name="Other").length_mm == 540  # 21.25 x 25.4 = 539.75


def test_a_look_alike_is_refused_in_words(grower):
    make_crop("Okra")
    response = grower.post(address("crops"), {"name": " oKRA "})
    assert response.status_code == 422
    assert "“Okra” is already in the book" in response.content.decode()


def test_a_sowing_in_flats_makes_the_flats(grower):
    make_layout()
    flats = {"flats_count": "2", "tray_format": make_format().key}
    response = grower.post(address("sowings"), {**typed("sowings"), **flats})
    sowing = Sowing.objects.get()
    assert response["Location"] == f"/{sowing.code}"
    assert Flat.objects.filter(sowing=sowing).with_stage().values_list("stage", flat=True)[0] == "sown"
    assert sowing.flats.count() == 2


@pytest.mark.parametrize("half", [{"flats_count": "2"}, {"tray_format": "x"}])
def test_flats_need_a_number_and_a_format(grower, half):
    make_layout()
    half = {name: make_format().key if value == "x" else value for name, value in half.items()}
    assert grower.post(address("sowings"), {**typed("sowings"), **half}).status_code == 422
    assert not Sowing.objects.exists()


def test_a_sowing_begins_with_today_in_the_farms_zone(grower, monkeypatch):
    from datetime import UTC, datetime

    Farm.objects.update(time_zone="Pacific/Auckland")
    monkeypatch.setattr("django.utils.timezone.now", lambda: datetime(2026, 3, 2, 20, 0, tzinfo=UTC))
    make_lot()
    assert 'value="2026-03-03"' in grower.get(address("sowings")).content.decode()


def test_a_lot_on_hold_is_not_offered_for_sowing(grower):
    make_lot(make_cultivar("Fresh"))
    make_lot(make_cultivar("Held"), is_on_hold=True)
    page = grower.get(address("sowings")).content.decode()
    assert "Fresh" in page
    assert "Held" not in page


def test_a_pairing_offers_cultivars_by_their_use(grower):
    make_cultivar("Sweet", use="scion")
    make_cultivar("Sturdy", use="rootstock")
    page = grower.get(address("pairings")).content.decode()
    assert page.count("Sweet (Tomato)") == page.count("Sturdy (Tomato)") == 1


def test_a_pairing_without_a_method_takes_the_crops(grower):
    make_crop()
    Crop.objects.update(method="hole_insertion", method_origin="<i>from memory</i>")
    page = grower.get(address("pairings")).content.decode()
    assert "First comes" in page
    data = {**typed("pairings"), "method": ""}
    page = grower.get(address("pairings")).content.decode()
    assert "Hole insertion: Tomato (&lt;i&gt;from memory&lt;/i&gt;)" in page
    grower.post(address("pairings"), data)
    assert Pairing.objects.get().method == "hole_insertion"


def test_starting_values_name_their_source(grower):
    make_pairing()
    page = grower.get(address("pairings")).content.decode()
    assert "Washington State University Extension FS051E" in page
    assert "Univ. of Connecticut Extension" in page
    assert 'name="record_days" value="14"' in page
    assert 'name="sow_offset_days" value' not in page


def test_a_missing_cultivar_is_made_on_the_way_and_chosen(grower):
    make_cultivar()
    page = grower.get(address("pairings")).content.decode()
    way = f"{address('cultivars')}?next=%2Frecords%2Fpairings%2Fnew&amp;into=scion"
    assert way in page
    assert way in grower.post(address("pairings"), {}).content.decode()
    response = grower.post(way.replace("&amp;", "&"), typed("cultivars"))
    okra = Cultivar.objects.get(name="Okra")
    assert response["Location"] == f"/records/pairings/new?scion={okra.key}"
    assert f'value="{okra.key}" selected' in grower.get(response["Location"]).content.decode()


@pytest.mark.parametrize("way", ["https://elsewhere.example/", "//elsewhere.example", "javascript:alert(1)"])
def test_leads_to_no_other_site(grower, way):
    response = grower.post(f"{address('crops')}?next={way}", typed("crops"))
    assert response["Location"] == "/records/crops"


def test_copies_a_format(grower):
    form = TrayFormat.objects.create(name="72", rows=6, columns=12, is_built_in=True)
    page = grower.get(address("tray-formats"), {"copy": form.key}).content.decode()
    assert 'name="rows" value="6"' in page
    assert 'name="name" value' not in page


def test_a_copy_of_nothing_is_not_found(grower):
    assert grower.get(address("tray-formats"), {"copy": "x"}).status_code == 404


def test_no_integer_key_stands_in_the_form(grower):
    lot = make_lot()
    page = grower.get(address("sowings")).content.decode()
    assert f'value="{lot.key}"' in page
    assert f'<option value="{lot.pk}"' not in page
