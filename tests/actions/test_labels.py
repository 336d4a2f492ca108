"""What stands on labels, and which prints are noted."""

from datetime import date

import pytest
from django.core.exceptions import ValidationError

from nursery.actions.label_words import gaps_of_codes, labels_of_codes
from nursery.actions.labels import (
    Sheet,
    print_labels,
    print_roll,
    waiting_flats,
    waiting_places,
    waiting_sowings,
)
from nursery.actions.stamp import Stamp
from nursery.models import Farm, LabelPrint, PrintedCode
from tests.factories import (
    make_cultivar,
    make_flat,
    make_lot,
    make_pairing,
    make_place,
    make_run,
    make_sowing,
    make_worker,
)

pytestmark = pytest.mark.django_db
STOCK = "a4-70x37"


@pytest.fixture
def flat(farm):
    flat = make_flat()
    pairing = make_pairing(make_cultivar("Żółty Młot"), make_cultivar("Stonefoot"))
    make_run(flat, places=range(1, 41), pairing=pairing, worker=make_worker("Wren"))
    make_run(flat, places=range(41, 71), pairing=pairing, worker=make_worker("Ash"))
    return flat


def test_says_what_a_person_needs_without_a_device(flat):
    [label] = labels_of_codes([flat.code])
    assert (label.scion, label.rootstock, label.grafters) == ("Żółty Młot", "Stonefoot", "Wren, Ash")
    assert (label.count, label.grafted_on, label.record_on) == (
        "70 plants",
        "2 Mar 2026",
        "16 Mar 2026",
    )
    assert label.address == f"HTTP://192.0.2.7:8000/{flat.code}"


def test_a_flat_on_the_bench_has_no_count_yet(farm):
    flat = make_flat()
    make_run(flat, places=[], finished_at=None)
    assert labels_of_codes([flat.code])[0].count == ""


def test_tongue_approach_counts_from_severing(farm):
    run = make_run(method="tongue")
    assert labels_of_codes([run.flat.code])[0].record_on == "14 days after severing"


def test_a_sowing_has_a_label_too(farm):
    sowing = make_sowing(make_lot(make_cultivar("Stonefoot")), sown_on=date(2026, 2, 9), seeds_count=200)
    [label] = labels_of_codes([sowing.code])
    assert (label.cultivar, label.seeds, label.sown_on) == ("Stonefoot", "200 seeds", "9 Feb 2026")


def test_keeps_the_order_asked_for(flat, farm):
    other = make_run().flat
    codes = [other.code, flat.code]
    assert [label.code for label in labels_of_codes(codes)] == codes


def test_unknown_codes_are_named(farm):
    with pytest.raises(ValidationError, match="F3K-7QNX"):
        labels_of_codes(["F3K7QNX"])


def test_printing_is_noted_and_fixes_the_address(flat, alice):
    assert list(waiting_flats()) == [flat]
    pdf = print_labels([flat.code], on=Sheet(STOCK, 24), stamp=Stamp.now(alice))
    assert pdf.startswith(b"%PDF")
    assert LabelPrint.objects.get().printed_by == alice
    assert Farm.objects.get().label_address_fixed_at
    assert list(waiting_flats()) == []


@pytest.mark.parametrize(
    ("changes", "field"), [({"stock": "a3"}, "stock"), ({"start": 25}, "start"), ({"start": 0}, "start")]
)
def test_refuses_what_the_paper_has_not_and_notes_nothing(flat, changes, field):
    with pytest.raises(ValidationError) as error:
        print_labels([flat.code], on=Sheet(**{"stock": STOCK, **changes}), stamp=Stamp.now())
    assert field in error.value.error_dict
    assert not LabelPrint.objects.exists()


def test_without_an_address_nothing_is_printed(flat):
    Farm.objects.update(label_address="")
    with pytest.raises(ValidationError, match="address"):
        print_labels([flat.code], on=Sheet(STOCK), stamp=Stamp.now())
    with pytest.raises(ValidationError, match="address"):
        print_roll(3, on=Sheet(STOCK), stamp=Stamp.now())
    assert not PrintedCode.objects.exists()


def test_a_roll_keeps_its_codes_for_its_labels(farm, alice):
    print_roll(5, on=Sheet("roll-57x32"), stamp=Stamp.now(alice))
    codes = set(PrintedCode.objects.filter(used_at__isnull=True).values_list("code", flat=True))
    assert len(codes) == 5 and all(code.startswith("F") for code in codes)


def test_number_of_queries_does_not_grow(farm, django_assert_max_num_queries):
    codes = [make_run(places=range(1, 3)).flat.code for _ in range(20)]
    with django_assert_max_num_queries(5):
        labels_of_codes(codes)


def test_a_flat_on_a_code_printed_ahead_still_waits_and_says_so(farm, alice):
    print_roll(1, on=Sheet("roll-57x32"), stamp=Stamp.now(alice))
    bare, plain = make_flat(), make_flat()
    PrintedCode.objects.update(code=bare.code, used_at=Stamp.now().at)
    for flat in (bare, plain):
        make_run(flat)
    assert {flat.code: flat.is_bare for flat in waiting_flats()} == {bare.code: True, plain.code: False}
    print_labels([bare.code], on=Sheet(STOCK), stamp=Stamp.now(alice))
    assert [flat.code for flat in waiting_flats()] == [plain.code]


def test_a_place_says_its_name_its_kind_and_where_it_stands(farm):
    chamber = make_place("Chamber A", "chamber")
    trolley = make_place("Trolley 7", "trolley", stands_in=chamber)
    [label, other] = labels_of_codes([trolley.code, chamber.code])
    assert (label.name, label.kind, label.within) == ("Trolley 7", "Trolley", "in Chamber A")
    assert (other.kind, other.within) == ("Healing chamber", "")


def test_sowings_and_places_wait_until_they_are_printed(farm, alice):
    sowing, place = make_sowing(), make_place()
    assert list(waiting_sowings()) == [sowing] and list(waiting_places()) == [place]
    print_labels([sowing.code, place.code], on=Sheet(STOCK), stamp=Stamp.now(alice))
    assert not waiting_sowings() and not waiting_places()


def test_what_does_not_print_is_asked_about_and_nothing_is_noted(farm):
    place = make_place("番茄 Bench")
    with pytest.raises(ValidationError, match="番茄 Bench") as error:
        print_labels([place.code], on=Sheet(STOCK), stamp=Stamp.now())
    assert "with_gaps" in error.value.error_dict
    assert not LabelPrint.objects.exists()
    assert print_labels([place.code], on=Sheet(STOCK), stamp=Stamp.now(), with_gaps=True).startswith(b"%PDF")
    assert [(gap.code, gap.characters) for gap in gaps_of_codes([place.code])] == [(place.code, "番茄")]


def test_an_address_that_does_not_fit_is_said_at_the_paper(flat):
    Farm.objects.update(label_address="http://" + "a" * 110)
    with pytest.raises(ValidationError) as error:
        print_labels([flat.code], on=Sheet("stake-25x125"), stamp=Stamp.now())
    assert "stock" in error.value.error_dict
    assert not LabelPrint.objects.exists()
