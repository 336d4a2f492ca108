"""Storing and deleting records: what is refused, what is kept, what is counted again."""

from datetime import date
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError

from nursery.actions.counting import recount_flats
from nursery.actions.records import delete_record, save_pairing, save_record
from nursery.models import (
    Check,
    Crop,
    Cultivar,
    DayCount,
    Layout,
    Pairing,
    Place,
    Season,
    SeedLot,
    TrayFormat,
)
from tests.factories import (
    GRAFTED_AT,
    make_crop,
    make_cultivar,
    make_flat,
    make_lot,
    make_pairing,
    make_place,
    make_run,
    make_season,
    make_sowing,
    make_worker,
)

pytestmark = pytest.mark.django_db


def refused(act, *args, **kwargs):
    """Return the messages of the refusal, by field."""
    with pytest.raises(ValidationError) as caught:
        act(*args, **kwargs)
    error = caught.value
    return error.message_dict if hasattr(error, "error_dict") else {"__all__": error.messages}


def test_stores_a_new_record():
    save_record(Crop(), {"name": "Tomato", "method": "splice", "method_origin": "", "botanical_name": ""})
    assert Crop.objects.get().method == "splice"


def test_trims_names():
    save_record(crop := Crop(), {"name": "  Bottle \t gourd "})
    crop.refresh_from_db()
    assert crop.name == "Bottle gourd"


def test_keeps_columns_changed_meanwhile():
    lot = make_lot(supplier="Old", treatment="none")
    SeedLot.objects.update(treatment="hot water")
    save_record(lot, {"supplier": "New", "treatment": lot.treatment})
    lot.refresh_from_db()
    assert (lot.supplier, lot.treatment) == ("New", "hot water")


def test_says_so_if_the_record_was_deleted_meanwhile():
    crop = make_crop()
    Crop.objects.all().delete()
    assert "deleted" in str(refused(save_record, crop, {"name": "Other"}))


@pytest.mark.parametrize("name", ["tomato", " TOMATO ", "Tom ato"])
def test_refuses_a_name_that_reads_the_same(name):
    make_crop("Tomato")
    assert "“Tomato” is already in the book" in refused(save_record, Crop(), {"name": name})["name"][0]


def test_refuses_a_look_alike_with_accents_written_in_another_way():
    make_crop("Pâtisson")
    assert "name" in refused(save_record, Crop(), {"name": "PA\u0302TISSON"})


def test_the_same_cultivar_name_may_stand_in_two_crops():
    make_cultivar("Amber", crop=make_crop("Tomato"))
    save_record(Cultivar(), {"crop": make_crop("Pepper"), "name": "amber", "use": "either"})
    assert Cultivar.objects.count() == 2


def test_refuses_a_lot_of_the_same_supplier_in_other_capitals():
    lot = make_lot(supplier="Seedhouse")
    values = {"cultivar": lot.cultivar, "lot_number": lot.lot_number.lower(), "supplier": "SEEDHOUSE"}
    assert "lot_number" in refused(save_record, SeedLot(), values)


def test_a_record_may_keep_its_own_name():
    crop = make_crop("tomato")
    save_record(crop, {"name": "Tomato"})
    crop.refresh_from_db()
    assert crop.name == "Tomato"


def test_puts_a_broken_rule_to_its_field():
    sowing = make_sowing(seeds_count=100)
    assert "stand_count" in refused(save_record, sowing, {"stand_count": 101})
    sowing = make_sowing(seeds_count=100, stand_count=90)
    assert "usable_count" in refused(save_record, sowing, {"usable_count": 91})


def test_a_pairing_is_in_the_book_once():
    pairing = make_pairing()
    values = {"scion": pairing.scion, "rootstock": pairing.rootstock, "method": "splice"}
    assert "already in the book" in refused(save_record, Pairing(), values)["rootstock"][0]


def test_a_pairing_takes_the_usual_method_of_the_scions_crop():
    crop = Crop.objects.create(name="Cucumber", method="one_cotyledon")
    values = {"scion": make_cultivar(crop=crop), "rootstock": make_cultivar(), "method": ""}
    save_pairing(Pairing(), values)
    assert Pairing.objects.get().method == "one_cotyledon"


def test_a_stored_pairing_keeps_its_method_where_only_another_value_is_given():
    pairing = make_pairing(method="cleft")
    save_pairing(pairing, {"record_days": 10})
    pairing.refresh_from_db()
    assert (pairing.method, pairing.record_days) == ("cleft", 10)


def test_a_pairing_needs_a_method_where_the_crop_has_none():
    values = {"scion": make_cultivar(), "rootstock": make_cultivar(), "method": ""}
    assert "no usual method" in refused(save_pairing, Pairing(), values)["method"][0]


def test_seasons_do_not_overlap_and_the_other_is_named():
    make_season("Spring", date(2026, 1, 1), date(2026, 6, 30))
    values = {"name": "Summer", "starts_on": date(2026, 6, 30), "ends_on": date(2026, 9, 1)}
    assert "“Spring”" in refused(save_record, Season(), values)["starts_on"][0]
    values = {"name": "Winter", "starts_on": date(2025, 11, 1), "ends_on": date(2026, 1, 1)}
    assert "“Spring”" in refused(save_record, Season(), values)["ends_on"][0]


def test_a_season_may_begin_the_day_after_another():
    make_season("Spring", date(2026, 1, 1), date(2026, 6, 30))
    save_record(Season(), {"name": "Summer", "starts_on": date(2026, 7, 1), "ends_on": date(2026, 7, 1)})
    assert Season.objects.count() == 2


def test_a_season_stored_at_the_same_moment_is_refused_by_the_database(monkeypatch):
    make_season("Spring", date(2026, 1, 1), date(2026, 6, 30))
    monkeypatch.setattr("nursery.actions.records._refuse_overlap", lambda season: None)
    values = {"name": "Summer", "starts_on": date(2026, 6, 30), "ends_on": date(2026, 9, 1)}
    assert "just stored" in str(refused(save_record, Season(), values))


def test_a_place_gets_a_code():
    save_record(place := Place(), {"name": "Bench 1", "kind": "bench", "stands_in": None})
    assert place.code.startswith("P")


def test_a_place_cannot_stand_in_what_stands_in_it():
    room = make_place("Room", kind="room")
    bench = make_place("Bench", stands_in=room)
    trolley = make_place("Trolley", stands_in=bench)
    assert "“Bench” stands in “Room”" in refused(save_record, room, {"stands_in": trolley})["stands_in"][0]


def test_a_place_cannot_stand_in_itself():
    room = make_place("Room", kind="room")
    assert "stands_in" in refused(save_record, room, {"stands_in": room})


@pytest.mark.parametrize(("model", "values"), [(TrayFormat, {"name": "x"}), (Layout, {"name": "x"})])
def test_what_came_with_the_program_stays(model, values):
    made = {"rows": 6, "columns": 12} if model is TrayFormat else {"pattern": "every"}
    record = model.objects.create(name="72", is_built_in=True, **made)
    assert "Copy it" in str(refused(save_record, record, values))
    assert "Copy it" in str(refused(delete_record, record))
    assert model.objects.get().name == "72"


def test_rows_of_a_format_in_use_stay_but_its_name_may_change():
    flat = make_flat(6, 12)
    form = flat.tray_format
    assert "used by 1 flat" in refused(save_record, form, {"rows": 7})["rows"][0]
    form.refresh_from_db()
    save_record(form, {"rows": 6, "name": "Deep 72"})
    form.refresh_from_db()
    assert form.name == "Deep 72"


def test_scion_of_a_grafted_pairing_stays():
    run = make_run()
    assert "scion" in refused(save_record, run.pairing, {"scion": make_cultivar()})


def test_deletes_what_nothing_uses():
    delete_record(make_crop())
    assert not Crop.objects.exists()


def test_says_by_name_what_uses_a_record():
    crop = make_crop("Tomato")
    for name in ("Amber", "Basil", "Cedar", "Dill"):
        make_cultivar(name, crop=crop)
    text = refused(delete_record, crop)["__all__"][0]
    assert "used by 4 cultivars (Amber; Basil; Cedar…)" in text
    assert Crop.objects.exists()


def test_counts_a_worker_once_for_a_grafting_done_in_two_roles():
    worker = make_worker("Wren")
    make_run(worker=worker, scion_cut_by=worker)
    text = refused(delete_record, worker)["__all__"][0]
    assert "1 grafting." in text
    assert "do not work here now" in text


def test_a_use_begun_at_the_same_moment_is_refused_in_words(monkeypatch):
    make_cultivar(crop=make_crop("Tomato"))
    monkeypatch.setattr("nursery.actions.records.refuse_if_used", lambda record: None)
    assert "begun to use" in str(refused(delete_record, Crop.objects.get()))


def _counted(run, day):
    Check.objects.create(
        flat=run.flat,
        day=day,
        kind="whole",
        is_closed=True,
        opened_at=GRAFTED_AT,
        raw_opened_at=GRAFTED_AT,
        received_at=GRAFTED_AT,
    )
    recount_flats([run.flat_id])


def test_a_changed_record_day_moves_the_record():
    run = make_run(grafted_on=date(2026, 3, 2))
    _counted(run, date(2026, 3, 12))
    assert not DayCount.objects.records().exists()
    save_record(run.pairing, {"record_days": 10})
    assert DayCount.objects.records().get().day == date(2026, 3, 12)


def test_counts_follow_the_dates_of_a_season():
    run = make_run(grafted_on=date(2026, 3, 2))
    _counted(run, date(2026, 3, 16))
    save_record(
        season := Season(), {"name": "Spring", "starts_on": date(2026, 3, 1), "ends_on": date(2026, 5, 1)}
    )
    assert DayCount.objects.get().season == season
    save_record(season, {"starts_on": date(2026, 3, 3)})
    assert DayCount.objects.get().season is None


def test_germination_is_stored_as_a_share():
    lot = make_lot()
    save_record(lot, {"germination_share": Decimal("0.925")})
    lot.refresh_from_db()
    assert lot.germination_share == Decimal("0.9250")
    assert "germination_share" in refused(save_record, lot, {"germination_share": Decimal("1.5")})
