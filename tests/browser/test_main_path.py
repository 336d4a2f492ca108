"""The main path as one person walks it, by touch: from the login to the take, with the label in between.

Day 0 is fourteen days ago and the check falls on today, the record day: both clocks, the program's and the
tablet's, stand on the day that is told.
"""

import re
from datetime import timedelta

import pypdfium2
import pytest
import zxingcpp
from django.utils import timezone
from playwright.sync_api import expect

from nursery.actions.starting import ensure_starting_values
from nursery.models import Flat
from tests.browser.conftest import PHONE, TABLET
from tests.factories import make_cultivar, make_lot, make_pairing, make_place, make_sowing, make_worker

RECORD_DAYS = 14
PRINT_DPI = 203


class Walk:
    """One person with one tablet. Every tap counts; a choice in a list is two; typing is counted by field."""

    def __init__(self, page):
        self.page, self.touches, self.total, self.log = page, 0, 0, []

    def tap(self, name, role="button"):
        self._tap(self.page.get_by_role(role, name=name, exact=False).first)

    def tap_cell(self, place):
        self._tap(self.page.locator(f'.cell:is([data-place="{place}"], [data-cell="{place}"])'))

    def choose(self, label, option):
        self.page.get_by_label(label).select_option(label=option)
        self.touches += 2

    def type(self, label, text):
        field = self.page.get_by_label(label)
        self._tap(field)
        field.press_sequentially(text)

    def reads(self, *texts):
        for text in texts:
            expect(self.page.locator("body")).to_contain_text(text, use_inner_text=True)

    def done(self, step):
        self.log.append(f"{step} {self.touches}")
        self.total, self.touches = self.total + self.touches, 0

    def _tap(self, locator):
        self.page.wait_for_load_state()
        locator.tap()
        self.touches += 1


class Calendar:
    """Moves the clocks of the program and of the tablet together."""

    def __init__(self, monkeypatch):
        self.days = 0
        true_now = timezone.now
        monkeypatch.setattr(timezone, "now", lambda: true_now() + timedelta(days=self.days))

    def turn_to(self, days, page):
        self.days = days
        page.clock.set_system_time(timezone.now())


@pytest.fixture
def calendar(monkeypatch):
    return Calendar(monkeypatch)


@pytest.fixture
def ready(db, bob):
    """What a farm has before its first flat: a pairing with its sowings, a second worker, a bench."""
    ensure_starting_values()
    pairing = make_pairing(make_cultivar("Amber Lantern"), make_cultivar("Stonefoot"))
    make_sowing(make_lot(pairing.scion))
    make_sowing(make_lot(pairing.rootstock))
    make_worker("Ada")
    make_place("Bench 1")


@pytest.mark.parametrize("size", [TABLET, PHONE], ids=["tablet", "phone"])
def test_from_the_login_to_the_take(open_page, ready, calendar, size):
    page = open_page(size)
    walk = Walk(page)
    calendar.turn_to(-RECORD_DAYS, page)
    log_in(walk)
    graft_a_flat(walk)
    code = print_its_label(walk)
    calendar.turn_to(0, page)
    check_it(walk, code)
    read_the_take(walk)
    print(f"\nTouches at {size['width']} x {size['height']}: {', '.join(walk.log)}; {walk.total} in all")
    page.wait_for_load_state()
    assert page.evaluate("document.documentElement.scrollWidth") <= size["width"]


def log_in(walk):
    walk.page.goto("/")
    walk.reads("Log in to Test farm")
    walk.type("Name", "bob")
    walk.type("Password", "a-long-password")
    walk.tap("Log in")
    walk.reads("Bob", "Put the first flat on and say who grafts what.")
    walk.done("log in")


def graft_a_flat(walk):
    """Bob begins, Ada goes on from D1; A3 and F11 stay empty."""
    walk.tap("To the bench", "link")
    walk.reads("Blades: cut away from the hand that holds")
    walk.choose("Bench", "Bench 1")
    walk.tap("Start a session")
    walk.done("start a session")

    walk.reads("Put a flat on")
    walk.choose("Scion on rootstock", "Amber Lantern on Stonefoot")
    walk.tap("Put it on")
    walk.reads("Bench 1", "Bob", "Amber Lantern on Stonefoot", "72 places")
    walk.done("put a flat on")

    walk.tap("Hand over", "link")
    walk.tap_cell(37)
    walk.reads("New run from D1")
    walk.tap("Ada")
    walk.reads(
        "Bob, Amber Lantern on Stonefoot, from A1, 36 places", "Ada, Amber Lantern on Stonefoot, from D1"
    )
    walk.done("hand over")

    walk.tap("Some places are empty", "link")
    walk.tap_cell(3)
    walk.tap_cell(71)
    walk.tap("Finish: 70 of 72 filled")
    walk.reads("70 grafts", "Finished last", "Bob, Ada")
    walk.done("finish with two blanks")


def print_its_label(walk):
    """Print it; what a phone scans is the flat's address, what a person reads is on it too."""
    walk.tap("Label of", "link")
    walk.reads("Not printed yet.")
    printed = []

    def keep(route):
        answer = route.fetch()
        printed.append(answer.body())
        route.fulfill(body="printed", content_type="text/plain")  # a browser without a screen shows no PDF

    walk.page.context.route("**/labels/print", keep)
    with walk.page.expect_popup() as sheet:
        walk.tap("Print this label")
    sheet.value.close()
    walk.done("print the label")

    [page] = pypdfium2.PdfDocument(printed[0])
    text = page.get_textpage().get_text_bounded()
    code = re.search(r"F\w\w-\w{4}", text)[0]
    flat = Flat.objects.get(code=code.replace("-", ""))
    [symbol] = zxingcpp.read_barcodes(page.render(scale=PRINT_DPI / 72, grayscale=True).to_pil())
    assert symbol.text == f"HTTP://192.0.2.7:8000/{flat.code}"
    for part in ("Amber Lantern", "Stonefoot", "Bob", "Ada", "70"):
        assert part in text
    return code


def check_it(walk, code):
    """On the record day the start page says that it is due; its code, typed from the label, opens it."""
    walk.tap("Takebook", "link")
    walk.reads(code, "Day 14: the check that makes the record")
    walk.type("Scan or type a code", code.lower())
    walk.tap("Open")
    walk.reads(code, "70 alive", "0 dead", "A3, F11")
    walk.done("open the flat")

    walk.tap("Check this flat", "link")
    walk.reads("What you leave alone was seen alive.")
    for place in (1, 13, 72):
        walk.tap_cell(place)
    walk.reads("67 alive 3 dead")
    walk.tap("Close check")
    walk.reads("Check closed: 67 of 70 alive.", "the record")
    walk.done("check: 3 dead, close")


def read_the_take(walk):
    """One flat is counted and says no range; Bob sees what took of his own, and nobody else's."""
    walk.tap("Takes", "link")
    walk.reads("1 flat", "Amber Lantern on Stonefoot", "67 of 70", "96 %", "cannot tell yet")
    walk.done("read the take")
    walk.tap("Grafter", "link")
    walk.reads("What took of your grafts", "33 of 35")
    expect(walk.page.locator("main")).not_to_contain_text("Ada")
