"""The demonstration farm: each thing that befell is there, and the same every time."""

from datetime import UTC, datetime

import pytest
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Count, F

from nursery.actions.demo import load_demo
from nursery.actions.demo.stories import STORIES
from nursery.actions.demo_accounts import address_demo_labels
from nursery.actions.recount import differences
from nursery.models import (
    Account,
    Check,
    Closing,
    Crop,
    DayCount,
    Farm,
    Flat,
    LabelPrint,
    Mark,
    PrintedCode,
    Run,
    Session,
    StageMove,
)

NOW = datetime(2026, 4, 20, 10, 0, tzinfo=UTC)
ANOTHER_DAY = datetime(2027, 2, 3, 18, 30, tzinfo=UTC)
pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module", autouse=True)
def demo(django_db_setup, django_db_blocker):
    """Load it twice, on two days; keep the second for the module, and give what the first counted."""
    with django_db_blocker.unblock():
        with transaction.atomic():
            load_demo(ANOTHER_DAY)
            counted = counts_by_code()
            transaction.set_rollback(True)
        with transaction.atomic():
            load_demo(NOW)
            yield counted
            transaction.set_rollback(True)


def story(note):
    assert note in {name for _, _, name in STORIES}
    return Flat.objects.get(note=note)


def counts_by_code():
    columns = ("flat__code", "run__number", "grafted", "alive", "wilting", "dead", "gone", "is_record")
    return list(DayCount.objects.order_by("flat__code", "run__number", "day").values_list(*columns))


def test_about_sixty_flats_in_several_crops_of_one_season():
    assert 55 <= Flat.objects.count() <= 70
    assert Crop.objects.filter(cultivars__pairings_as_scion__runs__isnull=False).distinct().count() >= 5
    assert Farm.objects.get().is_demo


def test_counts_are_borne_out_by_the_marks():
    assert list(differences()) == []


def test_a_second_loading_is_refused():
    with pytest.raises(ValidationError, match="not empty"):
        load_demo(NOW)


def test_flats_vary_as_real_flats_do():
    takes = {
        row.alive / row.grafted
        for row in DayCount.objects.records().filter(pairing__scion__name="Amber Lantern", grafted__gte=60)
    }
    assert len(takes) > 5 and max(takes) - min(takes) > 0.05


def test_hand_over_with_blanks():
    flat = story("Hand-over at C7, three blanks")
    runs = list(flat.runs.order_by("number"))
    assert [run.first_place for run in runs] == [1, 31] and runs[0].worker != runs[1].worker
    assert len(flat.blank_places) == 3 and flat.cells.count() == 69


def test_mixed_flat_has_two_scions_on_one_rootstock():
    runs = story("Mixed flat: two scions").runs.values_list(
        "pairing__scion__name", "pairing__rootstock__name"
    )
    assert set(runs) == {("Amber Lantern", "Stonefoot"), ("Ruby Coach", "Stonefoot")}


def test_regraft_stands_in_the_places_of_the_dead():
    flat = story("Dead plants grafted again")
    again = flat.cells.filter(graft_no=2)
    assert again.exists() and flat.runs.get(number=2).is_regraft
    assert flat.cells.filter(graft_no=1, is_present=False).count() == again.count()


def test_disagreement_of_two_tablets_stands():
    flat = story("Two tablets disagree")
    assert DayCount.objects.filter(flat=flat, has_disagreement=True).exists()


def test_amended_check_has_a_mark_that_came_after_its_closing():
    flat = story("Check amended after closing")
    late = Mark.objects.filter(check_ref__flat=flat, received_at__gt=F("check_ref__closings__received_at"))
    assert late.count() == 1
    assert DayCount.objects.get(flat=flat, is_record=True).dead >= 1


def test_only_the_amended_check_has_marks_its_closing_did_not_know():
    amended = story("Check amended after closing")
    late = set()
    for check in Check.objects.filter(closings__isnull=False).prefetch_related("closings", "marks"):
        known = {uuid for closing in check.closings.all() for uuid in closing.known_marks}
        late |= {check.flat_id for mark in check.marks.all() if str(mark.uuid) not in known}
    assert late == {amended.pk}


def test_discarded_as_a_loss_counts_the_rest_dead():
    flat = story("Discarded as a loss")
    assert StageMove.objects.filter(flat=flat).latest("at").is_loss
    record = DayCount.objects.get(flat=flat, is_record=True)
    assert (record.alive, record.dead) == (0, record.grafted)


def test_left_early_leaves_the_denominator_and_left_late_counts():
    early = DayCount.objects.get(flat=story("Samples left early"), is_record=True)
    late = DayCount.objects.get(flat=story("Plants sold on day 12"), is_record=True)
    assert (early.gone, early.gone_early) == (6, 6)
    assert (late.gone, late.gone_early) == (30, 0)


def test_tongue_approach_counts_from_its_severing():
    flat = story("Tongue approach, severed on day 7")
    record = DayCount.objects.get(flat=flat, is_record=True)
    assert (record.day - flat.runs.get().grafted_on).days == 21


def test_something_is_left_to_do_now():
    assert Session.objects.open().count() == 1
    assert Run.objects.open().count() == 1
    assert PrintedCode.objects.filter(used_at__isnull=True).count() == 12
    printed = LabelPrint.objects.values("code")
    assert Flat.objects.kept().exclude(code__in=printed).count() == 2
    early = Run.objects.exclude(day_counts__is_record=True)
    assert early.filter(day_counts__isnull=False).exists()


def test_every_check_of_the_season_but_the_blind_ones_is_closed():
    opened = Account.objects.get(username="tablet")
    by_check = Closing.objects.filter(sent_by=opened).values("check_ref").annotate(n=Count("id"))
    assert by_check.count() > 90 and all(row["n"] == 1 for row in by_check)


def test_labels_open_where_the_demonstration_runs_until_one_is_printed():
    address_demo_labels("http://192.0.2.9:8000")
    assert Farm.objects.get().label_address == "http://192.0.2.9:8000"
    Farm.objects.update(label_address_fixed_at=NOW)
    address_demo_labels("http://192.0.2.10:8000")
    assert Farm.objects.get().label_address == "http://192.0.2.9:8000"


def test_it_is_the_same_on_every_day(demo):
    assert len(demo) > 100
    assert counts_by_code() == demo
