"""Only part of a flat was seen: by rows, up to where somebody stopped, before and after lunch."""

import pytest
from playwright.sync_api import expect

from nursery.models import Check, DayCount
from tests.browser.checkhand import day
from tests.views.checking import check_flat

both_sizes = pytest.mark.parametrize("size", ["tablet", "phone"])


def seen():
    count = DayCount.objects.order_by("-day").first()
    return count.seen, count.alive, count.dead


def unseen(hand):
    return hand.page.locator(".cell[data-unseen]")


@both_sizes
def test_rows_a_to_c_take_5_touches(open_check, size):
    hand = open_check(size)
    for act in ("Only part of it", "Row A", "Row B", "Row C"):
        hand.touch(act)
    hand.says("Seen up to C12. Touch other rows, or another cell to end there.")
    hand.counts("36 alive 0 dead 36 of 72 seen")
    hand.sees(37, "D1, alive, not seen")
    expect(unseen(hand)).to_have_count(36)
    hand.close()
    print(f"Rows A to C of a flat, {size}: {hand.touches} touches")
    assert hand.touches == 5
    assert seen() == (36, 36, 0)
    stored = Check.objects.get()
    assert (stored.kind, stored.seen_places) == ("part", list(range(1, 37)))


@both_sizes
def test_up_to_the_last_cell_touched_takes_2_touches_more(open_check, size):
    # Three dead tapped on the way, the last of them in C4: 28 of 72 seen, 25 alive.
    hand = open_check(size)
    for cell in (2, 15, 28):
        hand.touch(cell)
    hand.touch("Only part of it")
    hand.says("Seen up to C4. Touch other rows, or another cell to end there.")
    hand.counts("25 alive 3 dead 28 of 72 seen")
    hand.close()
    print(f"Up to the last cell touched, {size}: {hand.touches - 3} touches beside the dead")
    assert hand.touches - 3 == 2
    assert seen() == (28, 25, 3)


def test_the_cell_where_somebody_stopped_is_touched(hand):
    hand.touch(2)
    hand.touch("Only part of it")
    hand.touch(40)
    hand.says("Seen up to D4. Touch other rows, or another cell to end there.")
    hand.sees(40, "D4, alive", pressed=False)  # nothing is marked while the part is chosen
    hand.touch("Row F")
    hand.says("Seen: row A, B, C, F. Touch other rows, or another cell to end there.")
    hand.counts("51 alive 1 dead 52 of 72 seen")
    hand.close()
    assert seen() == (52, 51, 1)


def test_marking_goes_on_in_a_part_and_what_is_tapped_is_seen(hand):
    hand.touch("Only part of it")
    expect(hand.button("Dead")).to_have_attribute("aria-pressed", "false")
    hand.touch("Row A")
    hand.touch("Go on marking")
    expect(hand.button("Dead")).to_have_attribute("aria-pressed", "true")
    hand.touch(1)
    hand.touch(72)
    hand.sees(72, "F12, dead", pressed=True)
    hand.counts("11 alive 2 dead 13 of 72 seen")
    hand.touch("Row B")
    hand.counts("11 alive 14 dead 25 of 72 seen")
    hand.touch("Undo")
    hand.touch("Wilting")
    hand.touch(40)
    hand.sees(40, "D4, wilting", pressed=True)
    hand.counts("12 alive, 1 of them wilting 2 dead 14 of 72 seen")
    hand.close()
    assert seen() == (14, 12, 2)


def test_the_whole_flat_again(hand):
    hand.touch("Only part of it")
    hand.touch("Row A")
    hand.touch("The whole flat")
    expect(unseen(hand)).to_have_count(0)
    expect(hand.button("Only part of it")).to_have_attribute("aria-pressed", "false")
    hand.touch("Only part of it")
    hand.page.wait_for_timeout(400)
    hand.touch("Only part of it")  # nothing was chosen: no part
    hand.close()
    assert day() == (72, 0, 0)
    assert Check.objects.get().kind == "whole"


def test_nothing_seen_is_not_closed(hand):
    hand.touch("Only part of it")
    hand.touch("Close check")
    hand.says("Touch the rows you saw, or the cell where you stopped.")
    hand.touch("Row A")
    hand.close()
    assert seen() == (12, 12, 0)


def test_all_rows_are_the_whole_flat(hand):
    hand.touch("Only part of it")
    for row in "ABCDEF":
        hand.touch(f"Row {row}")
    hand.close()
    assert Check.objects.get().kind == "whole"


def test_the_living_are_tapped_in_a_part(hand):
    # Row A: 10 dead, 2 living tapped. The other rows are not dead, but not seen.
    hand.touch("Only part of it")
    hand.touch("Row A")
    hand.touch("Tap the living instead")
    hand.says("12 not tapped count as dead.")
    hand.touch(1)
    hand.touch(2)
    hand.close()
    assert seen() == (12, 2, 10)


def test_what_wilts_is_asked_about_only_where_it_was_looked_at(open_check, flat72):
    check_flat(flat72, {5: "wilting", 60: "wilting"}, days_ago=3)
    hand = open_check()
    hand.touch("Only part of it")
    hand.touch("Row A")
    hand.touch("Close check")
    expect(hand.page.locator("#check-still-cells")).to_have_text("A5")


def test_dead_before_is_known_whether_seen_or_not(open_check, flat72):
    check_flat(flat72, {72: "dead"}, days_ago=3)
    hand = open_check()
    hand.touch("Only part of it")
    hand.touch("Row A")
    hand.counts("12 alive 1 dead 13 of 72 seen")
    hand.close()
    assert seen() == (13, 12, 1)


def test_after_lunch_the_same_check_goes_on(hand):
    hand.touch(2)
    hand.touch("Only part of it")
    hand.touch("Row B")
    hand.is_saved()
    hand.page.goto("/")  # lunch
    card = hand.page.get_by_role("link", name="half checked")
    expect(card).to_be_visible()
    card.tap()
    hand.counts("13 alive 1 dead 14 of 72 seen")  # A1 and A2, and row B
    hand.touch("Only part of it")
    hand.touch("The whole flat")
    hand.touch(72)
    hand.close()
    assert Check.objects.count() == 1
    assert day() == (70, 0, 2)


def test_a_later_check_completes_the_day(hand):
    hand.touch("Only part of it")
    hand.touch("Row A")
    hand.close()
    hand.page.goto("/")
    hand.page.get_by_role("link", name="half checked").tap()
    expect(hand.page.get_by_text("12 of 72 were seen today.")).to_be_visible()
    hand.touch(72)
    hand.close()
    assert seen() == (72, 71, 1)
    assert Check.objects.count() == 2


def test_a_check_closed_as_part_and_opened_again_is_still_that_part(open_check, flat72, alice):
    hand = open_check()
    hand.touch("Only part of it")
    hand.touch("Row A")
    hand.close()
    check = Check.objects.get()
    from tests.browser.conftest import log_in_context

    log_in_context(hand.page.context, hand.page.url.split("/F")[0], alice)
    hand.page.goto(f"/{flat72.code}/check/{check.uuid}")
    hand.button("Open again").tap()
    hand.page.wait_for_url("**goes_on=*")
    hand.counts("12 alive 0 dead 12 of 72 seen")


def test_nothing_of_it_costs_a_touch_where_the_whole_flat_is_seen(hand):
    hand.close()
    assert hand.touches == 1
