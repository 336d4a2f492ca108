"""Moving by touch: touches are counted and printed; and a hand scanner faster than the line."""

import pytest
from playwright.sync_api import expect

from nursery.calc.codes import spoken
from nursery.models import Place
from tests.browser.conftest import PHONE, TABLET
from tests.browser.looker import Looker
from tests.factories import make_session
from tests.yard import grafted, insides, make_yard, put, where

FLATS = 40
SIZES = pytest.mark.parametrize("size", [TABLET, PHONE], ids=["tablet", "phone"])


@pytest.fixture
def yard(farm, transactional_db):
    return make_yard()


class Finger:
    """Counts its touches."""

    def __init__(self, page):
        self.page, self.touches = page, 0

    def tap(self, name, role="button"):
        self.page.wait_for_load_state()
        self.page.get_by_role(role, name=name).first.tap()
        self.touches += 1

    def reads(self, text):
        expect(self.page.locator("body")).to_contain_text(text, use_inner_text=True)

    def said(self, what, size, pencil):
        print(f"\n{what} at {size['width']} x {size['height']}: {self.touches} touches; a pencil: {pencil}")
        assert self.touches < pencil


@SIZES
def test_forty_flats_of_a_session_into_the_chamber(open_page, yard, bob, size):
    session = make_session(place=yard["Bench"])
    flats = grafted(FLATS, session=session, place=yard["Bench"])
    finger = Finger(open_page(size, bob))
    finger.page.goto(f"/bench/{session.key}")
    finger.tap("Move the flats", "link")
    finger.reads("Move 40 flats")
    finger.tap("Chamber")
    finger.reads("40 flats moved to Chamber.")
    assert where(flats) == [("Chamber", "chamber")] * FLATS
    finger.said("40 flats of a session into the chamber", size, FLATS)  # on paper each code is written
    assert finger.touches == 2
    finger.tap("Undo")
    finger.reads("Taken back")
    assert where(flats) == [("Bench", "bench")] * FLATS


@SIZES
def test_forty_flats_from_the_bench_they_stand_on(open_page, yard, bob, size):
    flats = grafted(FLATS, place=yard["Bench"])
    finger = Finger(open_page(size, bob))
    finger.page.goto(f"/{yard['Bench'].code}")
    finger.tap("Move all of it", "link")
    finger.tap("Chamber")
    finger.reads("40 flats moved to Chamber.")
    assert where(flats) == [("Chamber", "chamber")] * FLATS
    finger.said("40 flats from a bench into the chamber", size, FLATS)
    assert finger.touches == 2


def test_forty_flats_that_are_too_many_take_one_touch_more(open_page, yard, bob):
    Place.objects.filter(name="Chamber").update(capacity_flats=36)
    flats = grafted(FLATS, place=yard["Bench"])
    finger = Finger(open_page(TABLET, bob))
    finger.page.goto(f"/{yard['Bench'].code}")
    finger.tap("Move all of it", "link")
    finger.reads("4 more than it holds")
    finger.tap("Chamber")
    finger.reads("would hold 40: 4 too many")
    finger.tap("Put them there anyway")
    finger.reads("40 flats moved to Chamber.")
    assert where(flats) == [("Chamber", "chamber")] * FLATS
    finger.said("40 flats, 4 too many", TABLET, FLATS)


@SIZES
def test_a_trolley_of_forty_flats(open_page, yard, bob, size):
    Place.objects.filter(name="Trolley").update(capacity_flats=FLATS)
    put(flats := grafted(FLATS), yard["Trolley"])
    finger = Finger(open_page(size, bob))
    finger.page.goto(f"/{yard['Trolley'].code}")
    finger.tap("Move this trolley", "link")
    finger.tap("Chamber")
    finger.reads("Trolley moved to Chamber.")
    assert insides()["Trolley"] == "Chamber"
    assert where(flats) == [("Trolley", "chamber")] * FLATS
    finger.said("a trolley of 40 flats into the chamber", size, FLATS)
    assert finger.touches == 2


@SIZES
def test_rows_are_chosen_by_touching_them_anywhere(open_page, yard, bob, size):
    flats = grafted(3, place=yard["Bench"])
    finger = Finger(open_page(size, bob))
    page = finger.page
    page.goto("/flats")
    finger.tap("Choose flats", "link")
    row = page.locator(".choose-rows tbody tr").nth(1)
    row.evaluate("(row) => row.scrollIntoView({ block: 'center' })")
    box = row.bounding_box()
    page.touchscreen.tap(box["x"] + box["width"] - 20, box["y"] + box["height"] - 8)
    finger.reads("1 chosen")
    page.get_by_label("All shown").tap()
    finger.reads("3 chosen")
    row.locator("label").tap()
    finger.reads("2 chosen")
    expect(page.get_by_label("All shown")).not_to_be_checked()
    finger.tap("Move")
    finger.tap("Chamber")
    finger.reads("2 flats moved to Chamber.")
    assert sorted(where(flats)) == [("Bench", "bench"), ("Chamber", "chamber"), ("Chamber", "chamber")]


def scanned(page, *codes):
    """Type codes as a hand scanner does: no pause, Enter after each."""
    for code in codes:
        page.keyboard.insert_text(code)
        page.keyboard.press("Enter")


def test_a_hand_scanner_faster_than_the_line_loses_nothing(open_page, yard, bob):
    flats = grafted(12, place=yard["Bench"])
    page = open_page(TABLET, bob)
    page.route("**/move/scan", lambda route: (page.wait_for_timeout(30), route.continue_())[1])
    page.goto("/move/scan")
    scanned(page, *(flat.code for flat in flats[:6]), "F3K7QN0", *(flat.code for flat in flats[6:]))
    expect(page.locator("#taken")).to_have_text("Taken up: 12 flats")
    expect(page.locator("#scan-code")).to_be_focused()
    scanned(page, yard["Chamber"].code)
    expect(page.locator(".scan-answer")).to_contain_text("12 flats moved to Chamber.")
    assert where(flats) == [("Chamber", "chamber")] * 12


def test_codes_scanned_without_a_connection_wait_and_are_named(open_page, yard, bob):
    first, second = grafted(2, place=yard["Bench"])
    page = open_page(TABLET, bob)
    page.goto("/move/scan")
    page.context.set_offline(True)
    scanned(page, first.code)
    expect(page.locator(".scan-waiting")).to_contain_text(first.code)
    scanned(page, second.code)
    expect(page.locator(".scan-waiting")).to_contain_text(second.code)
    page.context.set_offline(False)
    expect(page.locator("#taken")).to_have_text("Taken up: 2 flats")
    expect(page.locator(".scan-waiting")).to_be_hidden()
    assert spoken(second.code) in page.inner_text("#scan-told")


def test_axe_finds_nothing_on_what_only_a_touch_leads_to(open_page, yard, alice):
    session = make_session(place=yard["Bench"])
    flats = grafted(8, session=session, place=yard["Bench"])
    put(flats[:2], yard["Trolley"])
    put(flats[2:4], yard["Chamber"], hours=2)
    page = open_page(TABLET, alice)
    looker = Looker(page)
    looker.open(f"/move?session={session.key}&next=/places")
    page.set_viewport_size(TABLET)
    Place.objects.filter(name="Bay").update(capacity_flats=1)
    page.get_by_role("button", name="Bay").tap()
    expect(page.locator("body")).to_contain_text("3 too many")
    looker.look()
    page.get_by_role("button", name="Put them there anyway").tap()
    expect(page.locator("body")).to_contain_text("4 flats moved to Bay.")
    looker.look()
    page.goto("/move/scan")
    scanned(page, flats[0].code, "nothing", flats[1].code)
    expect(page.locator("#taken")).to_have_text("Taken up: 2 flats")
    looker.look()
    for address in ("/places", "/places?view=list", f"/{yard['Bay'].code}", f"/{yard['Trolley'].code}"):
        looker.open(address)
    for address in (f"/{flats[0].code}", f"/move?trolley={yard['Trolley'].code}", "/flats?choose=1"):
        looker.open(address)
    assert not looker.faults, "\n".join(map(str, looker.faults))
