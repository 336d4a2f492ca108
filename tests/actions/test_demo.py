"""The demonstration farm: each thing that befell is there, and the same every time."""

from datetime import UTC, datetime

import pytest
from django.core.exceptions import ValidationError
from django.core.management import call_command
from django.db.models import Count

from nursery.actions.demo import load_demo
from nursery.actions.demo.farm import OWN_PAPER
from nursery.actions.demo.stories import STORIES
from nursery.actions.demo_accounts import address_demo_labels
from nursery.actions.papers import own_papers
from nursery.actions.recount import differences
from nursery.actions.stock import alive_in, flat_stock
from nursery.models import (
    Account,
    Check,
    Closing,
    Crop,
    DayCount,
    Farm,
    Flat,
    LabelPrint,
    Pairing,
    PrintedCode,
    Run,
    Season,
    Session,
    Worker,
)
from tests.copied import DEMO_NOW

ANOTHER_DAY = datetime(2027, 2, 3, 18, 30, tzinfo=UTC)
pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("demo_farm")]


def story(note):
    assert note in {name for _, _, name in STORIES}
    return Flat.objects.get(note=note)


def standing(flat):
    return alive_in(flat_stock(flat))


def season_before():
    return Season.objects.get(ends_on__lt=DEMO_NOW.date())


def counts_by_code():
    columns = ("flat__code", "run__number", "grafted", "alive", "wilting", "dead", "gone", "is_record")
    # A pooled flat holds runs of several flats that bear one number.
    counts = DayCount.objects.order_by("flat__code", "run__flat__code", "run__number", "day")
    return list(counts.values_list(*columns))


def test_two_seasons_of_several_crops():
    assert 150 <= Flat.objects.count() <= 180
    assert Season.objects.count() == 2
    assert Crop.objects.filter(cultivars__pairings_as_scion__runs__isnull=False).distinct().count() >= 5
    assert Farm.objects.get().is_demo


def test_last_season_is_kept_in_part_and_imported_in_part():
    records = DayCount.objects.records().filter(season=season_before())
    assert records.filter(source="cells").values("flat").distinct().count() == 18
    assert records.filter(source="tally").values("flat").distinct().count() == 27
    assert Worker.objects.get(name="Sorrel").is_active is False


def test_a_pairing_can_be_compared_over_both_seasons():
    both = Pairing.objects.filter(day_counts__is_record=True).annotate(
        seasons=Count("day_counts__season", distinct=True)
    )
    assert both.filter(seasons=2).count() >= 7


def test_all_that_was_kept_here_last_season_was_sold_whole():
    flats = Flat.objects.filter(day_counts__season=season_before(), origin="marks").distinct()
    assert {flat.stage for flat in flats.with_stage()} == {"dispatched"}
    assert sum(standing(flat) for flat in flats) == 0


def test_counts_are_borne_out_by_the_marks():
    assert list(differences()) == []


def test_a_second_loading_is_refused():
    with pytest.raises(ValidationError, match="not empty"):
        load_demo(DEMO_NOW)


def test_flats_vary_as_real_flats_do():
    takes = {
        row.alive / row.grafted
        for row in DayCount.objects.records().filter(pairing__scion__name="Amber Lantern", grafted__gte=60)
    }
    assert len(takes) > 5 and max(takes) - min(takes) > 0.05


def test_only_the_amended_check_has_marks_its_closing_did_not_know():
    amended = story("Check amended after closing")
    late = set()
    for check in Check.objects.filter(closings__isnull=False).prefetch_related("closings", "marks"):
        known = {uuid for closing in check.closings.all() for uuid in closing.known_marks}
        marks = [mark for mark in check.marks.all() if mark.kind == "seen"]
        late |= {check.flat_id for mark in marks if str(mark.uuid) not in known}
    assert late == {amended.pk}


def test_a_paper_of_its_own():
    ((row, stock),) = own_papers()
    assert row.name == OWN_PAPER and stock.per_page == 24


def test_something_is_left_to_do_now():
    assert Session.objects.open().count() == 1
    assert Run.objects.open().count() == 1
    assert PrintedCode.objects.filter(used_at__isnull=True).count() == 12
    printed = LabelPrint.objects.values("code")
    assert Flat.objects.kept().exclude(code__in=printed).count() == 2
    early = Run.objects.exclude(day_counts__is_record=True)
    assert early.filter(day_counts__isnull=False).exists()


def test_every_check_of_the_season_is_closed_once_but_the_blind_and_the_reopened():
    opened = Account.objects.get(username="tablet")
    closings = Closing.objects.filter(sent_by=opened)
    twice = closings.values("check_ref__flat").annotate(n=Count("id") - Count("check_ref", distinct=True))
    assert closings.count() > 150
    assert [row["check_ref__flat"] for row in twice if row["n"]] == [
        story("Closed by accident, opened again").pk
    ]


def test_labels_open_where_the_demonstration_runs_until_one_is_printed():
    address_demo_labels("http://192.0.2.9:8000")
    assert Farm.objects.get().label_address == "http://192.0.2.9:8000"
    Farm.objects.update(label_address_fixed_at=DEMO_NOW)
    address_demo_labels("http://192.0.2.10:8000")
    assert Farm.objects.get().label_address == "http://192.0.2.9:8000"


def test_it_is_the_same_on_every_day():
    counted = counts_by_code()
    assert len(counted) > 100
    call_command("flush", interactive=False, verbosity=0)
    load_demo(ANOTHER_DAY)
    assert counts_by_code() == counted
