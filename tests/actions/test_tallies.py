"""Past seasons as tallies: what is taken in, what is refused, and that it is all or nothing."""

from datetime import date

import pytest
from django.core.exceptions import ValidationError

from nursery.actions.tallies import import_tallies
from nursery.actions.tally_plan import Status, TallyOptions, plan_tallies
from nursery.models import (
    Crop,
    Cultivar,
    DayCount,
    Flat,
    Method,
    Pairing,
    Run,
    Season,
    TallyRow,
    Worker,
)
from tests.factories import make_crop, make_cultivar, make_season, make_worker

pytestmark = pytest.mark.django_db
TODAY = date(2026, 11, 1)
HEADER = "season,flat,crop,scion,rootstock,method,grafter,grafted_on,checked_on,grafted,alive,wilting"
ROW = "Spring 2025,A1,Tomato,Amber Lantern,Stonefoot,splice,Wren,2025-03-03,2025-03-17,72,68,2"
NAMES = HEADER.split(",")


def row(**changes):
    """Return ``ROW`` with other values in some columns."""
    values = dict(zip(NAMES, ROW.split(","), strict=True)) | changes
    return ",".join(values[name] for name in NAMES)


def file_of(*rows, header=HEADER):
    return "\n".join([header, *rows, ""]).encode()


def run_import(*rows, **options):
    return import_tallies(file_of(*rows), TallyOptions(today=TODAY, **options))


def faults_of(content, **options):
    if isinstance(content, str):
        content = file_of(content)
    return plan_tallies(content, TallyOptions(today=TODAY, **options)).faults


def test_a_row_becomes_flat_run_tally_and_record():
    run_import(ROW)
    flat = Flat.objects.get()
    assert (flat.origin, flat.own_name, flat.season.name) == ("tally", "A1", "Spring 2025")
    run = Run.objects.get()
    assert (str(run.pairing), run.worker.name, run.method) == ("Amber Lantern on Stonefoot", "Wren", "splice")
    tally = TallyRow.objects.get()
    assert (tally.grafted, tally.alive, tally.wilting) == (72, 68, 2)
    count = DayCount.objects.get()
    assert (count.source, count.is_record, count.season) == ("tally", True, flat.season)
    assert (count.grafted, count.alive, count.wilting, count.dead) == (72, 68, 2, 4)


def test_the_same_file_twice_changes_nothing():
    second_look = row(checked_on="2025-03-24", alive="67")
    run_import(ROW, second_look, row(flat="A2"))
    before = list(TallyRow.objects.values()), list(DayCount.objects.values()), list(Flat.objects.values())
    plan = run_import(ROW, second_look, row(flat="A2"))
    assert [plan.count(status) for status in Status] == [0, 3, 0]
    after = list(TallyRow.objects.values()), list(DayCount.objects.values()), list(Flat.objects.values())
    assert before == after
    assert (Crop.objects.count(), Cultivar.objects.count(), Pairing.objects.count()) == (1, 2, 1)


def test_other_counts_are_a_fault_that_names_both():
    run_import(ROW)
    both = r"72 grafted, 68 alive, 2 wilting.*72 grafted, 60 alive, 1 wilting"
    with pytest.raises(ValidationError, match=both):
        run_import(row(alive="60", wilting="1"))
    assert TallyRow.objects.get().alive == 68


def test_replacing_keeps_the_old_row_and_counts_anew():
    run_import(ROW)
    run_import(row(alive="60"), replaces=True)
    assert TallyRow.objects.get(replaced_at__isnull=False).alive == 68
    assert TallyRow.objects.standing().get().alive == 60
    assert DayCount.objects.get().alive == 60


def test_one_fault_keeps_everything_out():
    with pytest.raises(ValidationError):
        run_import(ROW, row(flat="A2", alive="73"))
    for model in (Season, Crop, Cultivar, Pairing, Worker, Flat, Run, TallyRow, DayCount):
        assert not model.objects.exists(), model


@pytest.mark.parametrize(
    ("changes", "column", "words"),
    [
        ({"alive": "73"}, "alive", "more than the 72 grafted"),
        ({"wilting": "69"}, "wilting", "more than the 68 alive"),
        ({"grafted": "0", "alive": "0", "wilting": "0"}, "grafted", "at least 1"),
        ({"grafted": "72.0"}, "grafted", "whole number"),
        ({"grafted": "-72"}, "grafted", "whole number"),
        ({"alive": "many"}, "alive", "whole number"),
        ({"alive": "６８"}, "alive", "whole number"),
        ({"grafted": "100001"}, "grafted", "more than a flat can hold"),
        ({"grafted": "99999999999999999999"}, "grafted", "whole number"),
        ({"alive": ""}, "alive", "empty"),
        ({"grafted_on": "03/03/2025"}, "grafted_on", "year-month-day"),
        ({"grafted_on": "20250303"}, "grafted_on", "year-month-day"),
        ({"grafted_on": "2025-02-30"}, "grafted_on", "year-month-day"),
        ({"checked_on": "2025-03-02"}, "checked_on", "before the grafting"),
        ({"checked_on": "2026-11-02"}, "checked_on", "future"),
        ({"method": "glue"}, "method", "Write one of: splice"),
        ({"method": ""}, "method", "empty"),
        ({"flat": " "}, "flat", "empty"),
        ({"crop": "x" * 61}, "crop", "longer than 60"),
        ({"scion": "a\x07b"}, "scion", "cannot be printed"),
    ],
)
def test_a_fault_is_told_by_row_and_column(changes, column, words):
    (fault,) = faults_of(row(**changes))
    assert (fault.row, fault.column) == (2, column)
    assert words in fault.message


def test_rows_are_counted_as_a_spreadsheet_counts_them():
    faults = faults_of(file_of(ROW, "", ",,,,,,,,,,,", row(flat="A2", alive="x"), row(flat="A3", alive="y")))
    assert [fault.row for fault in faults] == [5, 6]


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "empty"),
        (b"\xef\xbb\xbf  \n", "empty"),
        (file_of(), "no rows"),
        (b"\xff\xfes\x00", "UTF-16"),
        (file_of(row(scion="Cafe")).replace(b"Cafe", b"Caf\xe9"), "not in UTF-8 (row 2)"),
        (file_of(row(scion="a\0b")), "not a text file"),
        (file_of(ROW, header=HEADER.replace("alive", "living")), "Columns are missing: alive"),
        (file_of(ROW, header=HEADER.replace("wilting", "wiltng")), "wiltng is not known"),
        (file_of(ROW, header=HEADER.replace("wilting", "alive")), "twice: alive"),
        (file_of(row(scion='"Amber')), "quotation mark"),
    ],
)
def test_a_file_that_is_none_says_why(content, words):
    (fault,) = faults_of(content)
    assert fault.row == 0
    assert words in fault.message


def test_a_divider_within_a_name_is_told():
    (fault,) = faults_of(row(scion="Amber, early"))
    assert (fault.row, fault.column) == (2, "")
    assert "13 columns where the header has 12" in fault.message


@pytest.mark.parametrize("sign", [",", ";", "\t"])
def test_any_divider_any_order_any_case_with_or_without_mark(sign):
    names = [name.upper() for name in reversed(NAMES)]
    values = list(reversed(ROW.split(",")))
    content = f"\ufeff{sign.join(names)}\r\n{sign.join(values)}\r\n".encode()
    import_tallies(content, TallyOptions(today=TODAY))
    assert TallyRow.objects.get().alive == 68


def test_columns_that_nobody_asked_for_are_named_and_left():
    plan = plan_tallies(file_of(f"{ROW},wet week", header=f"{HEADER},Note"), TallyOptions(today=TODAY))
    assert (plan.faults, plan.unread) == ([], ["note"])


@pytest.mark.parametrize("said", ["one_cotyledon", "One cotyledon", "ONE COTYLEDON"])
def test_a_method_is_known_by_value_or_shown_name(said):
    run_import(row(method=said))
    assert Run.objects.get().method == Method.ONE_COTYLEDON


def test_empty_grafter_and_wilting_are_not_recorded_and_none():
    run_import(row(grafter="", wilting=""))
    assert Run.objects.get().worker is None
    assert TallyRow.objects.get().wilting == 0


def test_the_same_grafts_on_one_day_twice_is_a_fault():
    (fault,) = faults_of(file_of(ROW, row(alive="60")))
    assert fault.row == 3
    assert "row 2" in fault.message


def test_a_run_was_grafted_once():
    (fault,) = faults_of(file_of(ROW, row(checked_on="2025-03-24", grafted="70", alive="60")))
    assert (fault.row, fault.column) == (3, "grafted")
    run_import(ROW)
    (fault,) = faults_of(row(checked_on="2025-03-24", grafted="70", alive="60"))
    assert "72 at the count of 2025-03-17" in fault.message


def test_names_differing_in_capitals_are_one():
    crop = make_crop("Tomato")
    make_cultivar("Amber Lantern", crop)
    make_worker("Wren")
    run_import(row(crop="TOMATO", scion="amber lantern", grafter="wren"), row(flat="A2"))
    assert (Crop.objects.count(), Cultivar.objects.count(), Worker.objects.count()) == (1, 2, 1)
    assert Pairing.objects.count() == 1


def test_a_rootstock_of_another_crop_is_found():
    squash = make_cultivar("Stonefoot", make_crop("Squash"), "rootstock")
    run_import(row(crop="Melon"), row(crop="Cucumber", flat="A2"))
    assert {pairing.rootstock for pairing in Pairing.objects.all()} == {squash}


def test_a_rootstock_of_several_crops_must_be_settled():
    make_cultivar("Stonefoot", make_crop("Squash"), "rootstock")
    make_cultivar("Stonefoot", make_crop("Bottle gourd"), "rootstock")
    (fault,) = faults_of(row(crop="Melon"))
    assert fault.column == "rootstock"
    assert "Bottle gourd, Squash" in fault.message


def test_the_season_of_the_day_or_the_one_given_fills_an_empty_one():
    make_season("Early 2025", date(2025, 1, 1), date(2025, 5, 31))
    run_import(row(season=""))
    run_import(row(season="", flat="A2", grafted_on="2024-03-03", checked_on="2024-03-17"), season="Past")
    assert [flat.season.name for flat in Flat.objects.order_by("own_name")] == ["Early 2025", "Past"]
    (fault,) = faults_of(row(season="", grafted_on="2023-03-03"))
    assert fault.column == "season"


def test_a_new_season_is_its_calendar_year_less_what_others_hold():
    make_season("Winter", date(2024, 11, 1), date(2025, 2, 15))
    make_season("Autumn", date(2025, 8, 1), date(2025, 10, 31))
    run_import(ROW)
    season = Season.objects.get(name="Spring 2025")
    assert (season.starts_on, season.ends_on) == (date(2025, 2, 16), date(2025, 7, 31))


@pytest.mark.parametrize(
    ("other_row", "words"),
    [
        (row(flat="A2", grafted_on="2024-12-30"), "more than one calendar year"),
        (row(flat="A2", grafted_on="2025-02-15", checked_on="2025-03-01"), "“Winter” (2024-11-01"),
    ],
)
def test_a_season_that_is_not_clear_is_asked_for(other_row, words):
    make_season("Winter", date(2024, 11, 1), date(2025, 2, 15))
    fault = faults_of(file_of(ROW, other_row))[0]
    assert fault.column == "season"
    assert words in fault.message


def test_a_day_outside_its_season_is_a_fault():
    make_season("Spring 2025", date(2025, 4, 1), date(2025, 6, 30))
    (fault,) = faults_of(ROW)
    assert fault.column == "grafted_on"
    assert "2025-04-01 to 2025-06-30" in fault.message


def test_a_dry_plan_writes_nothing(django_assert_num_queries):
    plan = plan_tallies(file_of(ROW), TallyOptions(today=TODAY))
    assert plan.count(Status.NEW) == 1
    assert not Flat.objects.exists() and not Season.objects.exists()


def test_comparing_costs_the_same_queries_for_few_rows_and_many(django_assert_num_queries):
    rows = [row(flat=f"B{i}", grafter=f"Worker {i}", scion=f"Scion {i}") for i in range(60)]
    run_import(*rows)
    with django_assert_num_queries(8):
        plan_tallies(file_of(*rows[:2]), TallyOptions(today=TODAY))
    with django_assert_num_queries(8):
        plan_tallies(file_of(*rows), TallyOptions(today=TODAY))


def test_columns_changed_meanwhile_survive_a_replacement():
    run_import(ROW)
    Flat.objects.update(note="kept")
    Run.objects.update(clip="1.5 mm")
    run_import(row(alive="60"), replaces=True)
    assert (Flat.objects.get().note, Run.objects.get().clip) == ("kept", "1.5 mm")
