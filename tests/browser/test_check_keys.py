"""The check without a finger: by keyboard, and for who does not see the drawing."""

from playwright.sync_api import expect

from tests.browser.checkhand import day
from tests.views.checking import check_flat


def test_arrows_move_one_tab_stop_and_enter_marks(hand):
    stops = hand.page.locator('.cell[tabindex="0"]')
    expect(stops).to_have_count(1)
    hand.cell(1).focus()
    for key in ("ArrowRight", "ArrowDown", "Enter"):
        hand.page.keyboard.press(key)
    hand.sees(14, "B2, dead", pressed=True)
    expect(hand.cell(14)).to_be_focused()
    expect(stops).to_have_attribute("data-cell", "14")
    hand.page.keyboard.press("End")
    expect(hand.cell(24)).to_be_focused()
    hand.page.keyboard.press("ArrowRight")
    expect(hand.cell(24)).to_be_focused()
    hand.page.keyboard.press("Home")
    expect(hand.cell(13)).to_be_focused()


def test_one_key_for_each_state_and_keys_to_take_back_and_close(hand):
    hand.cell(1).focus()
    press = hand.page.keyboard.press
    press("w")
    hand.sees(1, "A1, wilting", pressed=True)
    expect(hand.button("Dead")).to_have_attribute("aria-pressed", "true")  # what a tap means stays
    press("f")
    hand.sees(1, "A1, alive", pressed=False)
    press("u")
    hand.sees(1, "A1, wilting", pressed=True)
    press("r")
    hand.sees(1, "A1, alive", pressed=False)
    press("ArrowRight")
    press("d")
    hand.sees(2, "A2, dead", pressed=True)
    press("Enter")  # a tap, in the mode for the dead, takes it back
    hand.sees(2, "A2, alive", pressed=False)
    press("Enter")
    hand.sees(2, "A2, dead", pressed=True)
    press("n")
    hand.lands()
    assert day() == (71, 0, 1)


def test_letters_in_a_field_are_letters(open_check, flat72):
    check_flat(flat72, {2: "dead"}, days_ago=2)
    hand = open_check()
    hand.touch(2)
    hand.touch("Correct this")
    hand.page.get_by_label("Reason").press_sequentially("wurd")
    expect(hand.page.get_by_label("Reason")).to_have_value("wurd")
    expect(hand.button("Dead")).to_have_attribute("aria-pressed", "true")


def test_the_count_is_a_live_region(hand):
    expect(hand.page.locator("#check-count")).to_have_attribute("role", "status")


def test_a_tap_changes_its_own_cell_only(hand):
    watch = """() => {
      window.changed = new Set();
      new MutationObserver((all) => all.forEach((one) => window.changed.add(one.target.dataset.cell)))
        .observe(document.getElementById("flat"), {subtree: true, attributes: true, childList: true});
    }"""
    expect(hand.cell(40)).to_be_visible()
    hand.page.evaluate(watch)
    hand.touch(40)
    hand.sees(40, "D4, dead")
    # The cell that was the tab stop hands it over; nothing else is touched.
    assert set(hand.page.evaluate("[...window.changed]")) <= {"40", "1"}
