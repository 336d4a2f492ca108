"""Each story of the demonstration farm is there, with what the book must say of it."""

import pytest
from django.db.models import F

from nursery.actions.demo.stories import STORIES
from nursery.actions.prints import prints_of
from nursery.actions.settling import flat_disputes, flats_to_settle
from nursery.actions.stock import alive_in, flat_stock
from nursery.actions.yard import Yard
from nursery.models import (
    Change,
    Closing,
    DayCount,
    Flat,
    Mark,
    Place,
    Run,
    StageMove,
)
from nursery.models.saleable import saleable_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("demo_farm")]


def story(note):
    assert note in {name for _, _, name in STORIES}
    return Flat.objects.get(note=note)


def stories(note):
    """Return all flats of a story, the one that bears its name first."""
    return [story(note), *Flat.objects.filter(note__startswith=f"{note} (").order_by("note")]


def record(note):
    return DayCount.objects.get(flat=story(note), run__is_regraft=False, is_record=True)


def standing(flat):
    return alive_in(flat_stock(flat))


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


def test_in_parts_to_three_destinations_and_some_still_stand():
    flat = story("In parts to three destinations")
    left = flat.leavings.order_by("at").values_list("reason", "destination")
    assert list(left) == [
        ("sold", "Sallow Bridge market"),
        ("planted", "Tunnel 2, bed 4"),
        ("sold", "Pennywort boxes"),
    ]
    # 24 + 18 + 10 of those that took have left, after the record on day 14.
    assert standing(flat) == record(flat.note).alive - 52


def test_sold_by_number_of_two_grafters():
    flat = story("Sold by number")
    leaving = flat.leavings.get()
    assert leaving.check_ref is None
    assert sorted(leaving.counts.values_list("plants_count", flat=True)) == [12, 20]


def test_three_whole_flats_left_by_one_act():
    flats = stories("Three whole flats sold")
    assert len({flat.leavings.get().act for flat in flats}) == 1 and len(flats) == 3
    assert [standing(flat) for flat in flats] == [0, 0, 0]


def test_a_leaving_was_taken_back():
    flat = story("Sold and taken back")
    assert flat.leavings.count() == 1 and not flat.leavings.standing().exists()
    assert standing(flat) == record(flat.note).alive


def test_discarded_as_surplus_counts_as_alive():
    flat = story("Discarded as surplus")
    assert not StageMove.objects.filter(flat=flat).latest("at").is_loss
    assert flat.leavings.get().reason == "culled"
    assert standing(flat) == 0 and record(flat.note).alive > 40


def test_three_patchy_flats_became_two():
    flats = stories("Three patchy flats put together")
    counts = [standing(flat) for flat in flats]
    assert len(flats) == 3 and counts.count(0) == 1
    assert sum(counts) == sum(row.alive for row in DayCount.objects.records().filter(flat__in=flats))


def test_moved_into_larger_cells_one_of_which_died_there():
    small, first, second = stories("Moved into larger cells")
    assert standing(small) == 0 and {first.tray_format.places_count, second.tray_format.places_count} == {50}
    assert standing(first) == 49
    assert not first.cells.filter(moved_from=None).exists()


def test_pooled_flat_is_known_by_numbers_alone():
    pool, *sources = stories("Pooled by number")
    # 30 of each came, 2 and 1 were dead, 15 were sold.
    assert pool.is_pooled and not pool.cells.exists() and standing(pool) == 30 + 30 - 3 - 15
    assert pool.checks.get().kind == "numbers"
    assert all(flat.leavings.get().to_flat_id == pool.pk for flat in sources)


def test_somebody_else_grafted_again_and_filled_blanks():
    for note in ("Dead plants grafted again", "Blanks filled on day 2"):
        first, again = story(note).runs.order_by("number")
        assert again.is_regraft and again.worker != first.worker
    filled = story("Blanks filled on day 2")
    assert (
        filled.blank_places == []
        and filled.cells.count() == 72
        and filled.cells.filter(graft_no=2).count() == 0
    )


def test_half_a_check_is_no_record():
    flat = story("Half a check: rows A to C")
    last = DayCount.objects.filter(flat=flat).latest("day")
    assert 36 <= last.seen < last.grafted and not last.is_record
    assert flat.checks.latest("day").seen_places == list(range(1, 37))


def test_counted_by_numbers_alone():
    flat = story("Counted by numbers")
    assert {check.kind for check in flat.checks.all()} == {"numbers"}
    assert record(flat.note).source == "numbers" and record(flat.note).dead > 5


def test_closed_by_accident_and_opened_again():
    check = story("Closed by accident, opened again").checks.latest("opened_at")
    assert [closing.kind for closing in check.closings.order_by("at")] == ["close", "reopen", "close"]
    assert check.is_closed


def test_asked_to_open_again():
    asking = Closing.objects.pending_asks().get()
    assert asking.check_ref.flat == story("Asked to open again")
    assert not asking.sent_by.is_grower


def test_one_disagreement_stands_and_one_was_settled():
    assert flat_disputes(story("Two tablets disagree"))
    settled = story("A disagreement settled")
    assert not flat_disputes(settled)
    assert Mark.objects.filter(cell__flat=settled, kind="correction").count() == 1
    assert [row["flat"] for row in flats_to_settle()] == [story("Two tablets disagree").pk]


def test_grades_at_the_record_and_at_leaving():
    at_record, at_leaving = story("Graded at the record"), story("Graded as they left")
    assert at_record.gradings.get().leaving is None
    assert at_leaving.gradings.get().leaving == at_leaving.leavings.get()
    sums = saleable_of(at_leaving.runs.values_list("pk", flat=True))
    assert (sums.first, sums.second, sums.cull) == (22, 6, 2)


def test_two_headed_plants_even_or_not():
    sums = saleable_of(story("Two heads, even or not").runs.values_list("pk", flat=True))
    # 44 even and 9 uneven pairs of heads and 3 single ones; the culls are not sold.
    assert (sums.two_heads_even, sums.two_heads_uneven, sums.heads) == (44, 9, 2 * 53 + 3)


def test_worker_and_lot_were_corrected():
    first, second = stories("Wrong lot and person corrected")
    changed = Change.objects.filter(flat__in=[first, second]).values_list("flat", "field")
    assert sorted(changed) == sorted(
        [(first.pk, "scion_sowings"), (second.pk, "scion_sowings"), (first.pk, "worker")]
    )


def test_check_was_given_to_the_right_flat():
    right, wrong = stories("Check given to the right flat")
    change = Change.objects.get(field="flat", check_ref__flat=right)
    assert (change.old, change.new) == (wrong.code, right.code)
    assert not flat_disputes(right) and not flat_disputes(wrong)


def test_voided_check_counts_for_nothing():
    flat = story("A check voided")
    assert flat.checks.get(is_void=True).marks.count() == 9
    assert not DayCount.objects.filter(flat=flat, day=flat.checks.get(is_void=True).day).exists()


def test_label_printed_twice_and_two_flats_under_one():
    assert prints_of(story("Label printed twice").code).count == 2
    first, twin = stories("Two flats under one label")
    assert Change.objects.get(flat=twin, field="twin").new == first.code
    assert twin.cells.count() == first.cells.count()


def test_own_roots_and_restuck():
    roots = [flat.runs.get().roots for flat in stories("On own roots, and restuck")]
    assert roots == ["own", "restuck"]
    assert Run.objects.filter(roots="restuck").count() > 10


def test_scions_of_two_lots():
    sowings = story("Scions of two lots").runs.get().run_sowings.filter(side="scion")
    assert sowings.values("sowing__lot").distinct().count() == 2


def test_trolleys_were_pushed_through_the_chambers():
    where = {place.name: place.stands_in.name for place in Place.objects.filter(kind="trolley")}
    assert where == {"Trolley 1": "Cool bay", "Trolley 2": "Warm bay", "Trolley 3": "Small chamber"}
    stages = [
        {flat.stage for flat in Flat.objects.filter(note__startswith=note).with_stage()}
        for note in ("On a trolley through", "On a trolley in", "A chamber over")
    ]
    assert stages == [{"growing_on"}, {"acclimation"}, {"chamber"}]


def test_a_chamber_is_one_flat_over_its_room():
    chamber = Place.objects.get(name="Small chamber")
    assert Yard.read().flats_in(chamber) == chamber.capacity_flats + 1
    assert StageMove.objects.filter(is_over_capacity=True).exists()
