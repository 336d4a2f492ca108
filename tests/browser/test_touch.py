"""Fingers, palms, mouse and keyboard on a flat that the browser draws.

Touches go through the browser's own input path. What it cannot show: a real palm (how wide a screen says
it is differs from tablet to tablet) and the vibration itself (a stub counts the calls).
"""

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import PHONE, TABLET
from tests.browser.drawn import sheet_of

HOLD_MS = 400  # longer than what begins a drag


@pytest.fixture
def flat(draw):
    """A flat of 72 on a tablet, which is drawn as it lies and needs no scrolling."""
    return draw(TABLET, sheet_of(6, 12))


@pytest.fixture
def tall(draw):
    """A flat on a phone, longer than the screen."""
    return draw(PHONE, sheet_of(7, 15))


def test_every_tap_counts_once_however_soon_the_next_one_comes(flat):
    for _ in range(5):
        flat.tap("1")
    flat.tap("2")
    flat.wait(600)  # a click that the browser makes up would come by now
    assert flat.said("taps") == ["1"] * 5 + ["2"]


def test_a_tap_is_drawn_before_the_next_frame_is_over(flat):
    flat.press("14")
    assert flat.said("taps") == []
    flat.lift()
    expect(flat.cell("14")).to_have_attribute("data-state", "dead")
    assert flat.said("taps") == ["14"]


def test_two_hands_that_tap_at_once_both_count(flat):
    flat.press("3")
    flat.press("40", finger=1)
    flat.lift()
    flat.lift(finger=1)
    assert flat.said("taps") == ["3", "40"]


def test_row_letters_and_the_corner_are_touched_like_cells(flat):
    flat.page.get_by_role("button", name="Row C").tap()
    flat.page.get_by_role("button", name="All", exact=True).tap()
    assert flat.said("taps") == ["C", "all"]


def test_a_finger_that_scrolls_the_page_marks_nothing(tall):
    tall.press("64")
    x, y = tall.middle("64")
    tall.move((x, y - 250), steps=10)
    tall.lift()
    tall.wait(300)
    assert tall.page.evaluate("scrollY") > 100
    assert tall.said("taps") == []
    tall.tap("65")
    assert tall.said("taps") == ["65"]


def pointers(flat, name, *steps):
    """Send made-up pointer events to a cell: for what touches through the browser cannot be made to do."""
    flat.cell(name).evaluate(
        """(cell, steps) => {
          const { x, y, width, height } = cell.getBoundingClientRect();
          const middle = { clientX: x + width / 2, clientY: y + height / 2 };
          const finger = { pointerId: 9, pointerType: "touch", isPrimary: true, bubbles: true, ...middle };
          for (const [kind, more] of steps) {
            cell.dispatchEvent(new PointerEvent(`pointer${kind}`, { ...finger, ...more }));
          }
        }""",
        steps,
    )


def test_a_touch_that_stops_a_rolling_page_marks_nothing(tall):
    tap = [("down", {}), ("up", {})]
    pointers(tall, "64", *tap)
    assert tall.said("taps") == ["64"]
    tall.page.evaluate(
        """() => new Promise((done) => {
          const cell = document.querySelector('[data-cell="64"]');
          const finger = { pointerId: 9, pointerType: "touch", isPrimary: true, bubbles: true };
          const send = (kind) => cell.dispatchEvent(new PointerEvent(`pointer${kind}`, finger));
          send("down");
          send("cancel"); // the browser took the finger for scrolling
          addEventListener("scroll", () => done(["down", "up"].map(send)), { once: true });
          scrollBy(0, 40);
        })"""
    )
    assert tall.said("taps") == ["64"]
    tall.wait(200)
    pointers(tall, "64", *tap)
    assert tall.said("taps") == ["64", "64"]


def test_a_finger_that_slides_where_nothing_scrolls_marks_nothing_and_does_not_leave_the_page(flat):
    flat.press("1")
    flat.move("4", steps=4)
    flat.lift()
    flat.press("1")
    flat.move("25", steps=4)
    flat.lift()
    assert (flat.said("taps"), flat.said("drags")) == ([], [])


def test_a_finger_that_moved_before_it_lifted_marks_nothing_but_may_tremble(flat):
    """The browser mostly takes such a finger for scrolling first; where it does not, the distance decides."""
    for moved in (0, 12, 20, 40):
        x, y = flat.middle("30")
        pointers(flat, "30", ("down", {}), ("move", {"clientX": x, "clientY": y + moved}), ("up", {}))
    assert flat.said("taps") == ["30", "30"]


def test_a_drag_after_a_hold_takes_what_it_passes_over_and_does_not_scroll(tall):
    tall.press("64")
    tall.wait(HOLD_MS)
    expect(tall.page.locator(".cell[data-passed]")).to_have_count(1)
    tall.move("67", steps=6)  # turned by a quarter, E4 to E7 lie below each other
    expect(tall.page.locator(".cell[data-passed]")).to_have_count(4)
    assert tall.said("drags") == []
    tall.move("66", steps=2)
    tall.lift()
    assert tall.said("drags") == [["64", "65", "66", "67"]]
    assert tall.said("taps") == []
    assert tall.page.evaluate("scrollY") == 0
    expect(tall.page.locator(".cell[data-passed]")).to_have_count(0)


def test_a_fast_drag_steps_over_no_cell(flat):
    flat.press("13")
    flat.wait(HOLD_MS)
    flat.move("24")
    flat.lift()
    assert flat.said("drags") == [[str(place) for place in range(13, 25)]]


def test_a_hold_shows_that_a_drag_may_begin_and_counts_as_one_tap(flat):
    flat.press("5")
    flat.wait(HOLD_MS)
    expect(flat.cell("5")).to_have_attribute("data-passed", "")
    assert flat.said("taps") == []
    flat.wait(600)  # so long that the browser itself takes it for a long press
    flat.lift()
    assert (flat.said("taps"), flat.said("drags")) == (["5"], [])
    expect(flat.page.locator(".cell[data-passed]")).to_have_count(0)


def test_a_cancelled_drag_marks_nothing(flat):
    flat.press("1")
    flat.wait(HOLD_MS)
    flat.move("3", steps=3)
    flat.cancel()
    assert (flat.said("taps"), flat.said("drags")) == ([], [])
    expect(flat.page.locator(".cell[data-passed]")).to_have_count(0)


def test_a_palm_marks_nothing_nor_does_a_finger_beside_it(flat):
    flat.tap("1", radius=30)
    flat.press("30", radius=30)
    flat.tap("2", finger=1)
    flat.lift()
    flat.press("3")  # a finger, then the palm comes down, which spoils the finger too
    flat.press("30", finger=1, radius=30)
    flat.lift(finger=1)
    flat.lift()
    assert flat.said("taps") == []
    flat.tap("4")
    assert flat.said("taps") == ["4"]


def test_a_palm_beside_the_flat_spoils_the_finger_on_it(flat):
    flat.press((900, 700), radius=30)
    flat.tap("2", finger=1)
    flat.lift()
    assert flat.said("taps") == []


def test_a_finger_that_flattens_to_a_palm_marks_nothing(flat):
    pointers(flat, "1", ("down", {"width": 12}), ("move", {"width": 60}), ("up", {"width": 12}))
    pointers(flat, "2", ("down", {"width": 12}), ("up", {"height": 60}))
    assert flat.said("taps") == []
    pointers(flat, "3", ("down", {"width": 12}), ("up", {"width": 38}))
    assert flat.said("taps") == ["3"]


def test_more_than_two_contacts_are_a_palm(flat):
    for finger, name in enumerate(["1", "20", "40"]):
        flat.press(name, finger=finger)
    for finger in range(3):
        flat.lift(finger=finger)
    assert flat.said("taps") == []
    flat.tap("2")
    assert flat.said("taps") == ["2"]


def test_a_palm_ends_a_drag_without_a_mark(flat):
    flat.press("1")
    flat.wait(HOLD_MS)
    flat.move("3", steps=3)
    flat.press("40", finger=1, radius=30)
    flat.lift(finger=1)
    flat.lift()
    assert (flat.said("taps"), flat.said("drags")) == ([], [])


def test_mouse_and_keyboard_tap_too(flat):
    flat.cell("1").click()
    flat.cell("1").dblclick()
    flat.cell("2").click(button="right")
    flat.cell("3").focus()
    flat.page.keyboard.press("Enter")
    flat.page.keyboard.press("Space")
    assert flat.said("taps") == ["1", "1", "1", "3", "3"]


def test_a_mouse_drags_after_a_hold_as_well(flat):
    mouse = flat.page.mouse
    mouse.move(*flat.middle("1"))
    mouse.down()
    flat.wait(HOLD_MS)
    mouse.move(*flat.middle("3"))
    mouse.up()
    assert (flat.said("taps"), flat.said("drags")) == ([], [["1", "2", "3"]])


def test_nothing_is_taken_while_the_page_is_busy(flat):
    flat.page.evaluate("window.isBusy = true")
    flat.tap("1")
    flat.press("2")
    flat.wait(HOLD_MS)
    flat.move("4", steps=3)
    flat.lift()
    flat.cell("5").focus()
    flat.page.keyboard.press("Enter")
    assert (flat.said("taps"), flat.said("drags"), flat.said("buzzes")) == ([], [], [])


def test_each_touch_that_is_taken_buzzes_once(flat):
    flat.tap("1")
    flat.tap("1")
    flat.tap("2", radius=30)
    assert flat.said("buzzes") == [12, 12]


def test_two_taps_do_not_zoom(tall):
    for _ in range(2):
        tall.tap("10")
    tall.wait(400)
    assert tall.page.evaluate("visualViewport.scale") == 1
    touch_action = "document.querySelector('.flat .cell').computedStyleMap().get('touch-action').toString()"
    assert tall.page.evaluate(touch_action) == "manipulation"


def test_no_click_made_up_after_a_touch_lands_on_what_moved_under_the_finger(flat):
    flat.page.evaluate("""() => {
      window.clicks = 0;
      addEventListener("click", () => { window.clicks += 1; }, true);
    }""")
    flat.tap("1")
    flat.wait(400)
    assert (flat.said("clicks"), flat.said("taps")) == (0, ["1"])


def test_arrows_follow_what_is_seen_when_the_flat_is_turned(tall):
    tall.cell("16").focus()  # B1
    for key, name in {"ArrowDown": "17", "ArrowLeft": "32", "ArrowUp": "31", "ArrowRight": "16"}.items():
        tall.page.keyboard.press(key)
        expect(tall.cell(name)).to_be_focused()
    expect(tall.page.locator('.cell[tabindex="0"]')).to_have_count(1)
    tall.page.keyboard.press("End")
    expect(tall.cell("30")).to_be_focused()
    tall.page.keyboard.press("Home")
    expect(tall.cell("16")).to_be_focused()


def test_arrows_pass_places_without_a_plant_and_stop_at_the_edge(draw):
    flat = draw(TABLET, sheet_of(2, 4, map="aa-aa..a"))
    flat.cell("2").focus()
    for key, name in [("ArrowRight", "4"), ("ArrowRight", "4"), ("ArrowDown", "8"), ("ArrowLeft", "5")]:
        flat.page.keyboard.press(key)
        expect(flat.cell(name)).to_be_focused()


def test_one_key_for_each_state_and_for_what_the_page_does(flat):
    flat.cell("7").focus()
    for key in "dwfurn":
        flat.page.keyboard.press(key)
    flat.page.keyboard.press("Control+d")
    assert flat.said("keys") == [["7", "dead"], ["7", "wilting"], ["7", "firm"], "undo", "redo", "next"]
    assert flat.said("taps") == []


def test_letters_in_a_field_are_letters(flat):
    flat.page.get_by_label("Reason").press_sequentially("dwfurn")
    expect(flat.page.get_by_label("Reason")).to_have_value("dwfurn")
    assert flat.said("keys") == []


def test_a_key_held_down_closes_once(flat):
    flat.cell("7").focus()
    for _ in range(3):
        flat.page.keyboard.down("n")
    flat.page.keyboard.up("n")
    assert flat.said("keys") == ["next"]


def test_a_tap_costs_the_styles_and_the_layout_of_its_own_cell(draw):
    flat = draw(TABLET, sheet_of(12, 24))
    flat.page.get_by_role("button", name="Whole flat").tap()
    flat.tap("30")
    flat.wait(300)
    work = flat.trace(lambda: flat.tap("100"))
    styled = [event["args"]["elementCount"] for event in work if event["name"] == "UpdateLayoutTree"]
    laid = [event["args"]["beginData"] for event in work if event["name"] == "Layout"]
    # The cell touched, and the one that hands over the focus; each with the sign drawn in it.
    assert 0 < max(styled) <= 4
    assert sum(layout["dirtyObjects"] for layout in laid) <= 30
    assert all(layout["totalObjects"] > 600 for layout in laid)
