"""A flat counted by numbers, by touch: what a cucumber flat with 50 of 72 dead costs."""

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from nursery.models import Check, DayCount
from tests.browser.checkhand import Hand, day
from tests.browser.conftest import PHONE, TABLET
from tests.factories import make_run
from tests.views.checking import check_flat

both_sizes = pytest.mark.parametrize("size", [TABLET, PHONE], ids=["tablet", "phone"])
# With a pencil: the flat's code (7), the day (2), the month (1) and "50/72" (5 signs) into the notebook, and
# the same 5 once more when it is typed up; each sign counted as one touch. Our own reckoning, no source.
PENCIL = 20


class Counter(Hand):
    """A finger on the page of numbers that counts each touch, typed digits among them."""

    def field(self, name):
        return self.page.get_by_label(name, exact=True)

    def type(self, name, digits):
        self.touches += 1 + len(digits)
        self.field(name).tap()
        self.page.keyboard.type(digits)

    def sums(self, text):
        expect(self.page.locator("[data-sum]")).to_have_text(text)

    def save(self):
        self.touch("Save the count")
        self.lands()


@pytest.fixture
def open_numbers(open_page, flat72, bob):
    """From the page of the flat, as its label is scanned, to its numbers."""

    def opened(size=TABLET):
        hand = Counter(open_page(size, bob), flat72)
        hand.page.goto(f"/{flat72.code}")
        for act in ("Check this flat", "Numbers only"):
            hand.touches += 1
            hand.page.get_by_role("link", name=act, exact=True).tap()
        return hand

    return opened


@both_sizes
def test_50_of_72_dead_beat_a_pencil(open_numbers, size):
    hand = open_numbers(size)
    hand.sums("0 of 72 dead = 72 alive")
    hand.type("Dead", "50")
    hand.sums("50 of 72 dead = 22 alive")
    expect(hand.field("Alive")).to_have_value("22")
    hand.save()
    assert day() == (22, 0, 50)
    expect(hand.page.get_by_text("Count saved: 22 of 72 alive.")).to_be_visible()
    print(f"A flat with 50 of 72 dead, by numbers: {hand.touches} touches; a pencil: {PENCIL}")
    assert hand.touches == 6 < PENCIL


@both_sizes
def test_the_living_may_be_counted_instead(open_numbers, size):
    hand = open_numbers(size)
    hand.type("Alive", "22")
    hand.sums("50 of 72 dead = 22 alive")
    hand.type("Of them wilting", "3")
    hand.save()
    assert day() == (22, 3, 50)


def test_50_of_72_dead_cell_by_cell_by_the_living(open_page, flat72, bob):
    """Which cells died is known as well where the 22 living are tapped: 22, and 2 more touches."""
    hand = Hand(open_page(TABLET, bob), flat72)
    hand.touch("Tap the living instead")
    for cell in range(1, 23):
        hand.touch(cell)
    hand.close()
    assert day() == (22, 0, 50)
    print(f"A flat with 50 of 72 dead, the living tapped: {hand.touches} touches")
    assert hand.touches == 24


def test_steps_of_one_stay_between_none_and_all(open_numbers):
    hand = open_numbers()
    hand.touch("One dead fewer")
    hand.sums("0 of 72 dead = 72 alive")
    hand.touch("One dead more")
    hand.touch("One alive fewer")
    hand.sums("2 of 72 dead = 70 alive")
    hand.touch("One wilting more")
    hand.save()
    assert day() == (70, 1, 2)


def test_what_cannot_be_is_said_while_it_is_typed_and_by_the_server(open_page, flat72, bob):
    check_flat(flat72, {1: "dead", 2: "dead"}, days_ago=3)
    hand = Counter(open_page(TABLET, bob), flat72)
    hand.page.goto(f"/{flat72.code}/numbers")
    hand.sums("2 of 72 dead = 70 alive")
    hand.type("Of them wilting", "71")
    hand.sums("More than the 72 that stand here")
    hand.type("Of them wilting", "0")
    hand.type("Dead", "1")
    hand.touch("Save the count")
    expect(hand.page.get_by_text("2 cells are marked dead already: say at least 2 dead")).to_be_visible()
    assert Check.objects.count() == 1


def test_without_a_script_the_numbers_are_typed_and_sent(open_page, flat72, bob):
    page = open_page(TABLET, bob, java_script_enabled=False)
    page.goto(f"/{flat72.code}/numbers")
    expect(page.get_by_label("Alive", exact=True)).to_be_hidden()
    page.get_by_label("Dead", exact=True).fill("50")
    page.get_by_role("button", name="Save the count").tap()
    page.wait_for_url("**?closed=*")
    assert day() == (22, 0, 50)


def test_a_check_cell_by_cell_is_the_other_way(open_numbers):
    hand = open_numbers()
    hand.page.get_by_role("link", name="Cell by cell").tap()
    expect(hand.page.locator("#check-close")).to_be_visible()


def test_each_run_of_a_flat_is_counted_apart(open_page, flat72, bob):
    second = make_run(flat72, places=[1, 2], grafted_on=timezone.localdate())
    page = open_page(PHONE, bob)
    page.goto(f"/{flat72.code}/numbers")
    page.get_by_label("Dead", exact=True).nth(1).fill("1")
    expect(page.locator("[data-sum]").nth(1)).to_have_text("1 of 2 dead = 1 alive")
    page.get_by_role("button", name="Save the count").tap()
    page.wait_for_url("**?closed=*")
    assert DayCount.objects.get(run=second).dead == 1
