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
SMALL_PX = 24


def side(hand):
    box = hand.cell(1).bounding_box()
    return min(box["width"], box["height"])


def widths(page, selector):
    return page.evaluate(f"(({{scrollWidth, clientWidth}}) => [scrollWidth, clientWidth])({selector})")


@pytest.mark.parametrize("size", ["tablet", "phone"])
def test_cells_of_72_are_full_touch_targets_and_only_the_flat_scrolls(open_check, size):
    hand = open_check(size)
    assert side(hand) >= TOUCH_PX
    page_width, window = widths(hand.page, "document.documentElement")
    assert page_width <= window
    flat_width, box = widths(hand.page, "document.getElementById('flat')")
    assert (flat_width > box) is (size == "phone")


def test_the_whole_flat_and_the_way_to_close_fit_the_tablet_without_scrolling(hand):
    last = hand.cell(72).bounding_box()
    bar = hand.page.locator(".actions").bounding_box()
    assert last["y"] + last["height"] <= bar["y"]
    assert bar["y"] + bar["height"] <= TABLET["height"]


def test_288_cells_are_small_until_enlarged(open_page, bob, farm):
    flat = make_flat(12, 24)
    make_run(flat, places=range(1, 289))
    hand = Hand(open_page(TABLET, bob), flat)
    assert SMALL_PX <= side(hand) < TOUCH_PX
    hand.touch("Larger cells")
    assert side(hand) >= TOUCH_PX


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
