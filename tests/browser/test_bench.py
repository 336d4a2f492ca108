"""The bench by touch: start a session, put on, hand over, finish, next flat. Every touch is counted."""

import pytest

from nursery.actions.starting import ensure_starting_values
from nursery.models import Cell, Flat, Run
from tests.browser.conftest import PHONE, TABLET
from tests.factories import make_cultivar, make_lot, make_pairing, make_place, make_sowing, make_worker


class Finger:
    """Taps, and counts them. A choice in a list costs two: open it, choose."""

    def __init__(self, page):
        self.page, self.touches = page, 0

    def tap(self, name, role="button"):
        self.page.get_by_role(role, name=name, exact=False).first.tap()
        self.touches += 1

    def tap_place(self, place):
        self.page.locator(f'button.cell[data-place="{place}"]').tap()
        self.touches += 1

    def choose(self, label, option):
        self.page.get_by_label(label).select_option(label=option)
        self.touches += 2

    def since(self):
        count, self.touches = self.touches, 0
        return count


@pytest.fixture
def ready(db, bob):
    """A farm that can begin: one pairing, its sowings, two more workers and a bench."""
    ensure_starting_values()
    pairing = make_pairing(make_cultivar("Amber Lantern"), make_cultivar("Stonefoot"))
    make_sowing(make_lot(pairing.scion))
    make_sowing(make_lot(pairing.rootstock))
    make_worker("Ada")
    make_place("Bench 1")


@pytest.mark.parametrize("size", [TABLET, PHONE], ids=["tablet", "phone"])
def test_a_flat_is_handed_over_and_finished_and_the_next_is_two_touches(open_page, ready, bob, size):
    page = open_page(size, bob)
    finger = Finger(page)
    page.goto("/bench")
    finger.choose("Bench", "Bench 1")
    finger.tap("Start a session")
    started = finger.since()

    finger.choose("Scion on rootstock", "Amber Lantern on Stonefoot")
    finger.tap("lot", role="checkbox")
    finger.tap("Put it on")
    page.get_by_role("heading", name="Bob").wait_for()
    put_on = finger.since()

    finger.tap("Hand over", role="link")
    finger.tap_place(37)
    finger.tap("Ada")
    page.get_by_role("button", name="Undo the hand-over").wait_for()
    handed_over = finger.since()

    finger.tap("Some places are empty", role="link")
    finger.tap_place(3)
    finger.tap_place(71)
    finger.tap("Finish: 70 of 72 filled")
    page.get_by_text(": 70 grafts.").wait_for()
    finished = finger.since()
    first = Flat.objects.get()
    assert first.blank_places == [3, 71]
    assert list(first.runs.values_list("worker__name", "first_place")) == [("Bob", 1), ("Ada", 37)]
    assert [run.cells.count() for run in first.runs.all()] == [35, 35]

    finger.tap("Next flat for Bob")
    finger.tap("Finish: all 72 filled")
    page.get_by_text(": 72 grafts.").wait_for()
    following = finger.since()
    run = Run.objects.exclude(flat=first).get()
    assert run.cells.count() == 72
    assert [row.side for row in run.run_sowings.all()] == ["scion"]

    print(
        f"\nTouches at {size['width']} x {size['height']}: start {started}, first flat {put_on}, "
        f"hand-over {handed_over}, finish with two blanks {finished}, next flat {following}"
    )
    assert following == 2
    assert handed_over == 3
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_what_is_typed_shows_in_the_drawing_and_in_the_words(open_page, ready, bob):
    page = start_flat(open_page(TABLET, bob))
    code = Flat.objects.get().code
    page.goto(f"/{code}/bench?blanks")
    page.get_by_label("Empty places").fill("5")
    assert page.locator('.cell[data-state="blank"]').count() == 5
    page.get_by_label("Empty places").fill("a3 f11")
    assert page.locator('.cell[data-state="blank"]').count() == 2
    assert page.locator("#finish").inner_text() == "Finish: 70 of 72 filled"
    page.locator('button.cell[data-place="3"]').tap()
    assert page.get_by_label("Empty places").input_value() == "F11"
    page.get_by_role("button", name="Note them for now").tap()
    page.get_by_role("button", name="Finish: 71 of 72 filled").tap()
    page.get_by_text(": 71 grafts.").wait_for()
    assert not Cell.objects.filter(place_no=71).exists()


def test_two_taps_on_next_flat_are_one_flat(open_page, ready, bob):
    page = start_flat(open_page(PHONE, bob))
    page.get_by_role("button", name="Finish: all 72 filled").tap()
    page.get_by_role("button", name="Next flat for Bob").dblclick()
    page.get_by_role("button", name="Finish: all 72 filled").wait_for()
    assert Flat.objects.count() == 2


def test_works_without_a_script(open_page, ready, bob):
    page = start_flat(open_page(TABLET, bob, java_script_enabled=False))
    page.get_by_role("link", name="Hand over").tap()
    page.get_by_label("Done so far").fill("30")
    page.get_by_role("button", name="Ada").tap()
    page.get_by_role("link", name="Some places are empty").tap()
    page.get_by_label("Empty places").fill("2")
    page.locator("#finish").tap()
    page.get_by_text(": 70 grafts.").wait_for()
    assert list(Run.objects.values_list("first_place", flat=True)) == [1, 31]


def start_flat(page):
    page.goto("/bench")
    page.get_by_role("button", name="Start a session").tap()
    page.get_by_label("Scion on rootstock").select_option(label="Amber Lantern on Stonefoot")
    page.get_by_role("button", name="Put it on").tap()
    page.get_by_role("heading", name="Bob").wait_for()
    return page


def test_enter_after_the_number_of_places_done_hands_over_to_nobody(open_page, ready, bob):
    page = open_page(PHONE, bob)
    finger = Finger(page)
    page.goto("/bench")
    finger.tap("Start a session")
    finger.choose("Scion on rootstock", "Amber Lantern on Stonefoot")
    finger.tap("Put it on")
    finger.tap("Hand over", role="link")
    finger.tap("type how many are done")
    page.get_by_label("Done so far").fill("36")
    page.get_by_label("Done so far").press("Enter")
    page.wait_for_timeout(300)
    assert Run.objects.count() == 1
    finger.tap("Ada")
    page.get_by_text("from D1").wait_for()
    assert [str(run.worker) for run in Run.objects.order_by("number")] == ["Bob", "Ada"]
