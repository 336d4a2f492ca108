"""Changing records: what is stored, what stays, who may."""

import pytest
from django.urls import reverse

from nursery.models import Crop, Cultivar, SeedLot, TrayFormat, Worker
from nursery.views.record_nouns import NOUNS
from tests.factories import make_crop, make_cultivar, make_flat, make_lot, make_sowing, make_worker
from tests.views.record_data import MAKERS, WRONG, typed

ACCESS = [("grower", 302), ("crew", 403), ("tablet", 403), ("stranger", 302)]


def address(slug, row):
    return reverse("record-edit", args=[slug, NOUNS[slug].key_of(row)])


def stored(row):
    """Return the row's columns as the database has them."""
    return type(row).objects.filter(pk=row.pk).values().get()


@pytest.mark.parametrize("slug", NOUNS)
def test_shows_what_is_stored(grower, slug):
    response = grower.get(address(slug, MAKERS[slug](1)))
    assert response.status_code == 200
    assert "Row 1" in response.content.decode()


@pytest.mark.parametrize("slug", NOUNS)
@pytest.mark.parametrize(("who", "status"), ACCESS)
def test_only_a_grower_changes(db, request, slug, who, status):
    row = MAKERS[slug](1)
    before, data = stored(row), typed(slug)
    assert request.getfixturevalue(who).post(address(slug, row), data).status_code == status
    assert (stored(row) != before) == (who == "grower")


@pytest.mark.parametrize("slug", NOUNS)
def test_wrong_input_leaves_the_row_alone(grower, slug):
    row = MAKERS[slug](1)
    field, wrong, words = WRONG[slug]
    before, data = stored(row), {**typed(slug), field: wrong}
    response = grower.post(address(slug, row), data)
    assert response.status_code == 422
    assert words in response.content.decode()
    assert stored(row) == before


def as_shown(form):
    """Return what a browser sends back of a form, untouched, with what the page showed beside it."""
    data = {name: form[name].value() for name in form.fields if form[name].value() not in (None, False)}
    shown = {form.add_initial_prefix(name): form[name].value() for name in form.fields}
    return data | {name: "" if value is None else value for name, value in shown.items()}


def test_keeps_what_somebody_else_changed_while_the_page_lay_open(grower):
    lot = make_lot(supplier="Meadow & Spade", seeds_count=500)
    page = address("seed-lots", lot)
    data = as_shown(grower.get(page).context["form"])
    assert 'name="initial-supplier" value="Meadow &amp; Spade"' in grower.get(page).content.decode()
    SeedLot.objects.filter(pk=lot.pk).update(supplier="Three Ditches Seed", germination_share="0.9")
    assert grower.post(page, {**data, "seeds_count": 400, "supplier": "Meadow & Spade"}).status_code == 302
    lot.refresh_from_db()
    assert (lot.seeds_count, lot.supplier, float(lot.germination_share)) == (400, "Three Ditches Seed", 0.9)


def test_a_field_that_is_emptied_is_stored_empty(grower):
    lot = make_lot(supplier="Meadow & Spade")
    page = address("seed-lots", lot)
    grower.post(page, {**as_shown(grower.get(page).context["form"]), "supplier": ""})
    lot.refresh_from_db()
    assert lot.supplier == ""


@pytest.mark.parametrize("slug", NOUNS)
def test_saving_an_untouched_page_changes_nothing(grower, slug):
    row = MAKERS[slug](1)
    page = address(slug, row)
    data, before = as_shown(grower.get(page).context["form"]), stored(row)
    assert grower.post(page, data).status_code == 302
    assert stored(row) == before


@pytest.mark.parametrize("slug", NOUNS)
def test_saving_the_form_as_shown_changes_nothing(grower, slug):
    row = MAKERS[slug](1)
    before = stored(row)
    form = grower.get(address(slug, row)).context["form"]
    data = {name: form[name].value() for name in form.fields if form[name].value() not in (None, False)}
    assert grower.post(address(slug, row), data).status_code == 302
    assert stored(row) == before


@pytest.mark.parametrize("key", ["0", "1", "tomato", "00000000-0000-4000-8000-000000000000"])
def test_an_unknown_key_is_not_found(grower, key):
    make_crop()
    assert grower.get(f"/records/crops/{key}").status_code == 404


def test_wrong_method(grower):
    assert grower.put(address("crops", make_crop())).status_code == 405


def test_percent_is_shown_as_typed(grower):
    lot = make_lot(germination_share="0.9250")
    assert 'name="germination_share" value="92.5"' in grower.get(address("seed-lots", lot)).content.decode()


def test_what_was_typed_is_kept_beside_the_error(grower):
    lot = make_lot()
    data = {**typed("seed-lots"), "lot_number": "Kept", "germination_share": "ninety"}
    page = grower.post(address("seed-lots", lot), data).content.decode()
    assert 'value="Kept"' in page
    assert 'value="ninety"' in page
    assert "Germination, %: this is no number" in page
    assert SeedLot.objects.get().lot_number == lot.lot_number


def test_what_came_with_the_program_shows_no_form_and_stays(grower):
    row = TrayFormat.objects.create(name="72", rows=6, columns=12, is_built_in=True)
    page = grower.get(address("tray-formats", row)).content.decode()
    assert 'id="record"' not in page
    assert f"copy={row.key}" in page
    response = grower.post(address("tray-formats", row), typed("tray-formats"))
    assert response.status_code == 422
    assert "Copy it" in response.content.decode()
    assert TrayFormat.objects.get().name == "72"


def test_rows_of_a_format_in_use_are_refused_in_words(grower):
    row = make_flat().tray_format
    response = grower.post(address("tray-formats", row), {"name": "72", "rows": "7", "columns": "12"})
    assert response.status_code == 422
    assert "Rows stays: this is used by 1 flat" in response.content.decode()


def test_a_format_shows_what_each_layout_uses_of_it(grower):
    from nursery.actions.starting import ensure_starting_values

    ensure_starting_values()
    page = grower.get(address("tray-formats", TrayFormat.objects.get(name="105"))).content.decode()
    assert '<span class="number">53</span> Every other cell<' in page
    assert '<span class="number">52</span> Every other cell, label corner empty<' in page
    assert page.count('class="tray-cell"') == 105 + 53 + 52 + 60


def test_a_cultivar_that_changed_its_use_is_still_shown_in_its_pairing(grower):
    row = MAKERS["pairings"](1)
    Cultivar.objects.filter(pk=row.scion_id).update(use="rootstock")
    page = grower.get(address("pairings", row)).content.decode()
    assert f'<option value="{row.scion.key}" selected>' in page


def test_a_worker_is_offered_free_logins_and_the_own_one(grower, bob, charlie):
    other = make_worker()
    own, free = Worker.objects.get(name="Bob"), grower.get(address("workers", other)).content.decode()
    assert 'value="bob"' in grower.get(address("workers", own)).content.decode()
    assert 'value="bob"' not in free
    assert 'value="charlie"' not in free
    assert 'value="alice"' in free


def test_the_sowings_form_can_add_flats_later(grower):
    make_flat()  # brings a format and a layout
    sowing = make_sowing()
    data = {
        "lot": sowing.lot.key,
        "sown_on": "2026-02-09",
        "seeds_count": "200",
        "flats_count": "3",
        "tray_format": TrayFormat.objects.get().key,
    }
    assert grower.post(address("sowings", sowing), data).status_code == 302
    assert sowing.flats.count() == 3


def test_a_stored_text_is_shown_as_text(grower):
    crop = Crop.objects.create(name="<script>x</script>")
    make_cultivar("<b>y</b>", crop=crop)
    page = grower.get(address("crops", crop)).content.decode()
    page += grower.get(reverse("record-new", args=["pairings"])).content.decode()
    assert "<script>x" not in page
    assert "<b>y" not in page
