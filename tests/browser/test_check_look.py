"""The check as an object: how large its cells are, what scrolls, and what axe says of it."""

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.utils import timezone
from playwright.sync_api import expect

from tests.browser.checkhand import Hand
from tests.browser.conftest import PHONE, TABLET
from tests.factories import make_flat, make_run
from tests.views.checking import add_mark, check_flat

TOUCH_PX = 44
GLOVES_PX = 64
SMALL_PX = 24


def side(hand):
    box = hand.cell(1).bounding_box()
    return min(box["width"], box["height"])


def widths(page, selector):
    return page.evaluate(f"(({{scrollWidth, clientWidth}}) => [scrollWidth, clientWidth])({selector})")


@pytest.mark.parametrize("size", ["tablet", "phone"])
def test_cells_of_72_are_full_touch_targets_and_nothing_scrolls_sideways(open_check, size):
    hand = open_check(size)
    assert side(hand) >= TOUCH_PX
    for scrolls in ("document.documentElement", "document.getElementById('flat')"):
        width, window = widths(hand.page, scrolls)
        assert width <= window


def test_the_whole_flat_and_the_way_to_close_fit_the_tablet_without_scrolling(hand):
    last = hand.cell(72).bounding_box()
    bar = hand.page.locator(".actions").bounding_box()
    assert last["y"] + last["height"] <= bar["y"]
    assert bar["y"] + bar["height"] <= TABLET["height"]


def test_200_cells_are_full_touch_targets_on_the_tablet_and_fit_without_scrolling(open_page, bob, farm):
    flat = make_flat(10, 20)
    make_run(flat, places=range(1, 201))
    hand = Hand(open_page(TABLET, bob), flat)
    assert side(hand) >= TOUCH_PX
    last = hand.cell(200).bounding_box()
    assert last["y"] + last["height"] <= hand.page.locator(".actions").bounding_box()["y"]


def test_105_cells_are_full_touch_targets_on_the_phone_below_a_short_head(open_page, bob, farm):
    flat = make_flat(7, 15)
    make_run(flat, places=range(1, 106))
    hand = Hand(open_page(PHONE, bob), flat)
    expect(hand.cell(105)).to_be_visible()
    assert side(hand) >= TOUCH_PX
    # Half the screen and more is the flat's, with the page not yet scrolled.
    free = hand.page.locator(".actions").bounding_box()["y"] - hand.page.locator("#flat").bounding_box()["y"]
    assert free >= PHONE["height"] / 2


def test_288_cells_come_in_halves_and_small_as_a_whole(open_page, bob, farm):
    flat = make_flat(12, 24)
    make_run(flat, places=range(1, 289))
    hand = Hand(open_page(TABLET, bob), flat)
    assert side(hand) >= TOUCH_PX
    hand.touch("13 to 24")
    hand.touch(24)
    hand.sees(24, "A24, dead", pressed=True)
    hand.touch("Whole flat")
    hand.sees(24, "A24, dead", pressed=True)
    assert SMALL_PX <= side(hand) < TOUCH_PX
    hand.touch(1)
    hand.sees(1, "A1, dead", pressed=True)
    hand.is_saved()


def test_looks_are_one_touch_away(hand):
    for name, look in (("Sunlight", "data-contrast"), ("Gloves", "data-gloves")):
        hand.touch(name)
        expect(hand.page.locator(f"html[{look}]")).to_have_count(1)
        expect(hand.button(name)).to_have_attribute("aria-pressed", "true")
        assert axe(hand.page) == []
    assert side(hand) >= GLOVES_PX


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", [TABLET, PHONE], ids=["tablet", "phone"])
def test_axe_finds_nothing(open_page, flat72, alice, size, scheme):
    check_flat(flat72, {2: "dead", 3: "wilting"}, days_ago=3, cause="rot")
    add_mark(check_flat(flat72, {5: "dead"}, days_ago=1, closes=False), 5, "wilting")
    hand = Hand(open_page(size, alice, color_scheme=scheme), flat72)
    faults = [axe(hand.page)]
    for act in (2, 5, 1, "Cause for the whole check", "Tap the living instead"):
        hand.touch(act)
        faults.append(axe(hand.page))
    hand.touch("Tap the living instead")
    hand.touch("Close check")
    faults.append(axe(hand.page))
    hand.page.get_by_role("dialog").get_by_role("button", name="Close check").tap()
    hand.lands()
    faults.append(axe(hand.page))
    hand.page.get_by_role("link", name=f"{timezone.localdate().day} ").first.tap()
    expect(hand.page.get_by_role("heading", name="Check of")).to_be_visible()
    faults.append(axe(hand.page))
    assert faults == [[]] * len(faults)


def axe(page):
    found = Axe().run(page).response["violations"]
    return [(one["id"], [node["html"][:120] for node in one["nodes"]][:3]) for one in found]


def test_a_day_is_said_as_today_for_what_died_since_morning(open_check, flat72):
    check_flat(flat72, {2: "dead"})
    hand = open_check()
    hand.touch(2)
    hand.says("A2: dead since today.")
