"""A check by touch, from the drawing of the flat to the count of the day."""

from uuid import UUID

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from nursery.models import Check, Closing, DayCount, Mark
from tests.browser.checkhand import causes, day
from tests.views.checking import add_mark, check_flat

both_sizes = pytest.mark.parametrize("size", ["tablet", "phone"])


@both_sizes
def test_72_cells_with_3_dead_take_4_touches(open_check, bob, size):
    hand = open_check(size)
    for cell in (1, 13, 72):
        hand.touch(cell)
    hand.counts("69 alive 3 dead")
    hand.close()
    assert hand.touches == 4
    expect(hand.page.get_by_text("Check closed: 69 of 72 alive.")).to_be_visible()
    assert day() == (69, 0, 3)
    stored = Check.objects.get()
    assert (stored.is_closed, stored.kind, stored.by_worker) == (True, "whole", bob.worker)
    assert causes(hand.flat) == {1: "", 13: "", 72: ""}
    known = Closing.objects.get().known_marks
    assert {UUID(uuid) for uuid in known} == set(Mark.objects.values_list("uuid", flat=True))


def test_a_flat_in_which_all_live_is_closed_with_one_touch(hand):
    hand.close()
    assert day() == (72, 0, 0)
    assert not Mark.objects.exists()


def test_a_second_tap_takes_the_mark_back(hand):
    hand.touch(5)
    hand.sees(5, "A5, dead", pressed=True)
    hand.is_saved()
    hand.again(5)
    hand.sees(5, "A5, alive", pressed=False)
    hand.close()
    assert day() == (72, 0, 0)
    dead, undo = Mark.objects.order_by("at")
    assert (dead.kind, dead.state) == ("seen", "dead")
    assert (undo.kind, undo.state, undo.replaces) == ("undo", "unmarked", [str(dead.uuid)])


def test_a_second_tap_counts_however_quickly_it_comes(hand):
    for _time in range(3):
        hand.cell(5).tap()
    hand.sees(5, "A5, dead", pressed=True)
    hand.cell(5).tap()
    hand.sees(5, "A5, alive", pressed=False)
    hand.close()
    assert Mark.objects.count() == 4


@both_sizes
def test_wilting_and_recovered(open_check, flat72, size):
    check_flat(flat72, {29: "wilting", 58: "wilting"}, days_ago=3)
    hand = open_check(size)
    hand.counts("72 alive, 2 of them wilting 0 dead")
    hand.touch("Recovered")
    hand.touch(29)
    hand.touch(58)
    hand.sees(29, "C5, alive", pressed=True)
    hand.touch("Wilting")
    hand.touch(3)
    hand.counts("72 alive, 1 of them wilting 0 dead")
    hand.close()
    assert day() == (72, 1, 0)


def test_recovered_says_where_nothing_wilts(hand):
    hand.touch("Recovered")
    hand.touch(3)
    hand.says("A3 was not wilting.")
    hand.touch("Row B")
    hand.says("Nothing is wilting there.")
    assert not Mark.objects.exists()


def test_undo_takes_back_the_last_act_a_whole_row_at_once(hand):
    expect(hand.button("Undo")).to_be_disabled()
    hand.touch(13)
    hand.touch("Row B")
    hand.counts("60 alive 12 dead")
    hand.touch("Undo")
    hand.counts("71 alive 1 dead")
    hand.touch("Undo")
    hand.counts("72 alive 0 dead")
    expect(hand.button("Undo")).to_be_disabled()
    hand.close()
    assert day() == (72, 0, 0)


def test_undo_of_a_second_tap_brings_the_mark_back(hand):
    hand.touch(5)
    hand.again(5)
    hand.touch("Undo")
    hand.sees(5, "A5, dead", pressed=True)
    hand.close()
    assert day() == (71, 0, 1)


def test_a_row_tapped_again_is_taken_back(hand):
    hand.touch("Row F")
    hand.counts("60 alive 12 dead")
    hand.touch("Row F")
    hand.counts("72 alive 0 dead")


def test_all_leaves_what_was_dead_before(open_check, flat72):
    check_flat(flat72, {2: "dead"}, days_ago=3)
    hand = open_check()
    hand.touch("Wilting")
    hand.touch("All")
    hand.counts("71 alive, 71 of them wilting 1 dead")
    hand.close()
    assert day() == (71, 71, 1)


@both_sizes
def test_the_living_are_tapped_instead_in_a_bad_flat(open_check, flat72, size):
    check_flat(flat72, {29: "wilting"}, days_ago=3)
    hand = open_check(size)
    hand.touch("Tap the living instead")
    hand.counts("0 alive 72 dead")
    hand.says("72 not tapped count as dead.")
    for cell in (5, 40):
        hand.touch(cell)
    hand.touch("Wilting")
    hand.touch(29)
    hand.counts("3 alive, 1 of them wilting 69 dead")
    hand.sees(5, "A5, alive", pressed=True)
    hand.sees(6, "A6, dead", pressed=False)
    hand.close()
    assert day() == (3, 1, 69)


def test_turning_back_to_the_dead_leaves_the_untapped_alone(hand):
    hand.touch("Tap the living instead")
    hand.touch(5)
    hand.touch("Tap the living instead")
    hand.counts("72 alive 0 dead")
    hand.close()
    assert day() == (72, 0, 0)


def test_a_cause_for_the_cell_just_tapped(hand, flat72):
    hand.touch(5)
    expect(hand.page.get_by_text("Cause of A5:")).to_be_visible()
    hand.touch("Rot")
    expect(hand.button("Rot")).to_have_attribute("aria-pressed", "true")
    hand.touch("Row B")
    expect(hand.page.get_by_text("Cause of 12 cells:")).to_be_visible()
    hand.touch("Heat")
    hand.close()
    assert causes(flat72) == {5: "rot", **dict.fromkeys(range(13, 25), "heat")}
    assert day() == (59, 0, 13)


def test_a_cause_is_taken_back_by_a_second_tap(hand, flat72):
    hand.touch(5)
    hand.touch("Rot")
    hand.touch("Rot")
    hand.close()
    assert causes(flat72) == {5: ""}


def test_a_cause_for_the_whole_check(hand):
    hand.touch(5)
    hand.touch("Cause for the whole check")
    hand.touch("Dried out")
    expect(hand.button("Cause for the whole check: Dried out")).to_have_attribute("aria-pressed", "true")
    hand.close()
    assert Check.objects.get().cause == "dried"
    expect(hand.page.get_by_text("1 dead: A5, dried out")).to_be_visible()


@both_sizes
def test_what_still_wilts_is_listed_at_closing(open_check, flat72, size):
    check_flat(flat72, {29: "wilting", 58: "wilting", 60: "wilting"}, days_ago=3)
    hand = open_check(size)
    hand.touch(60)
    hand.touch("Close check")
    dialog = hand.page.get_by_role("dialog", name="Still wilting")
    expect(dialog).to_contain_text("C5, E10")
    dialog.get_by_role("button", name="Look again").tap()
    hand.touch("Recovered")
    hand.touch(29)
    hand.touch("Close check")
    expect(dialog.locator("#check-still-cells")).to_have_text("E10")
    dialog.get_by_role("button", name="Close check").tap()
    hand.lands()
    assert day() == (71, 1, 1)


def test_a_bounce_on_close_leaves_the_list_of_the_wilting_open(open_check, flat72):
    check_flat(flat72, {29: "wilting"}, days_ago=3)
    hand = open_check("phone")
    hand.button("Close check").first.dblclick()
    hand.page.wait_for_timeout(300)
    dialog = hand.page.get_by_role("dialog", name="Still wilting")
    expect(dialog).to_be_visible()
    hand.page.touchscreen.tap(20, 20)
    expect(dialog).to_be_hidden()


def test_wilting_tapped_again_is_no_longer_asked_about(open_check, flat72):
    check_flat(flat72, {29: "wilting"}, days_ago=3)
    hand = open_check()
    hand.touch("Wilting")
    hand.touch(29)
    hand.close()
    assert day() == (72, 1, 0)


def test_a_cell_dead_before_says_since_when_and_is_corrected_with_a_reason(open_check, flat72):
    earlier = check_flat(flat72, {2: "dead"}, days_ago=3, cause="rot")
    hand = open_check()
    hand.touch(2)
    hand.sees(2, "A2, dead since an earlier check")
    said = f"{earlier.day.day} {earlier.day:%B}"
    hand.says(f"A2: dead since {said}. Cause: Rot.")
    hand.touch("Correct this")
    dialog = hand.page.get_by_role("dialog", name="Correct A2")
    dialog.get_by_role("button", name="Correct").tap()
    expect(dialog).to_be_visible()  # no correction without a reason
    dialog.get_by_label("Reason").fill("a leaf hid it")
    dialog.get_by_role("button", name="Correct").tap()
    hand.sees(2, "A2, alive", pressed=True)
    hand.close()
    mark = Mark.objects.get(kind="correction")
    assert (mark.state, mark.reason) == ("firm", "a leaf hid it")
    assert day() == (72, 0, 0)


def test_a_disagreement_is_settled_by_who_looks_again(open_check, flat72):
    add_mark(check_flat(flat72, {5: "dead"}, days_ago=1, closes=False), 5, "wilting")
    hand = open_check()
    hand.touch(5)
    hand.says("A5: people disagree. What is it?")
    hand.touch("Alive")
    hand.sees(5, "A5, alive", pressed=True)
    hand.close()
    assert len(Mark.objects.get(kind="correction").replaces) == 2
    assert not DayCount.objects.filter(has_disagreement=True, day=timezone.localdate()).exists()
