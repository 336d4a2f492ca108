"""A round by touch: flat after flat, the touches counted; left for later; undo across flats; reloads."""

from datetime import timedelta
from uuid import UUID

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from nursery.models import Check, DayCount, Mark
from tests.browser.checkhand import Hand
from tests.browser.conftest import PHONE, TABLET
from tests.factories import make_flat, make_run

both_sizes = pytest.mark.parametrize("size", [TABLET, PHONE], ids=["tablet", "phone"])


@pytest.fixture
def flats(farm, transactional_db):
    """Four flats of 72, a week after their grafting: due today."""
    flats = [make_flat() for _n in range(4)]
    for flat in flats:
        make_run(flat, grafted_on=timezone.localdate() - timedelta(days=7))
    return flats


class RoundHand(Hand):
    """A finger on a round."""

    def __init__(self, page):
        self.page, self.touches = page, 0
        page.goto("/round")
        page.locator("#round-start").tap()
        page.wait_for_url("**/check")
        self.at = self.now()

    def now(self):
        """The code of the flat at hand."""
        expect(self.page.locator("#flat")).to_be_visible()
        return self.page.url.rsplit("/", 2)[1]

    def close_and_next(self):
        before = self.page.url
        self.page.wait_for_timeout(750)  # a flat that has just come is not closed by a bounce
        self.touch("Close, next flat")
        self.page.wait_for_url(lambda url: url != before)
        return self.now()

    def is_at(self, n, closed):
        expect(self.page.locator("#round-said")).to_contain_text(f"{n} of 4, {closed} closed")


@pytest.fixture
def walk(open_page, flats, bob):
    return lambda size=TABLET: RoundHand(open_page(size, bob))


def counts():
    """Alive and dead of the flats closed today."""
    closed = DayCount.objects.filter(day=timezone.localdate(), is_closed=True)
    return sorted(closed.values_list("alive", "dead"))


@both_sizes
def test_three_dead_take_4_touches_and_none_takes_1(walk, size):
    hand = walk(size)
    hand.is_at(1, 0)
    for cell in (1, 13, 72):
        hand.touch(cell)
    hand.close_and_next()
    assert hand.touches == 4
    hand.is_at(2, 1)
    hand.counts("72 alive 0 dead")
    hand.close_and_next()
    assert hand.touches == 5
    hand.is_at(3, 2)
    hand.is_saved()
    assert counts() == [(69, 3), (72, 0)]
    assert Check.objects.filter(is_closed=True).count() == 2


def test_no_page_is_loaded_between_flats(walk):
    hand = walk()
    asked = []
    hand.page.on("request", lambda request: asked.append(request.url))
    hand.close_and_next()
    hand.counts("72 alive 0 dead")
    assert not [url for url in asked if "/api/" not in url and "/icon" not in url]


def test_what_is_left_for_later_comes_back_at_the_end(walk):
    hand = walk()
    first = hand.at
    hand.touch("Later")
    hand.page.wait_for_url(lambda url: first not in url)
    assert [hand.close_and_next() for _n in range(3)][-1] == first
    hand.page.wait_for_timeout(750)
    hand.touch("Close, next flat")
    expect(hand.page.get_by_role("heading", level=1)).to_have_text("Round done")
    expect(hand.page.get_by_text("All 4 flats are closed. No dead plant was found.")).to_be_visible()
    hand.is_saved()
    assert counts() == [(72, 0)] * 4


def test_undo_goes_back_over_the_flats_and_redo_forward(walk):
    hand = walk()
    first = hand.at
    hand.touch(5)
    second = hand.close_and_next()
    hand.touch(7)
    hand.touch("Undo")
    hand.counts("72 alive 0 dead")
    hand.touch("Undo")
    hand.page.wait_for_url(f"**/{first}/check")
    hand.counts("72 alive 0 dead")
    hand.sees(5, "A5, alive", pressed=False)
    hand.touch("Redo")
    hand.sees(5, "A5, dead", pressed=True)
    hand.touch("Redo")
    hand.page.wait_for_url(f"**/{second}/check")
    hand.sees(7, "A7, dead", pressed=True)
    hand.is_saved()
    assert counts() == [(71, 1)]
    assert Mark.objects.count() == 6


def test_undo_outlasts_a_reload(walk):
    hand = walk()
    hand.touch(5)
    hand.touch("Row B")
    hand.is_saved()
    hand.page.reload()
    hand.counts("59 alive 13 dead")
    hand.touch("Undo")
    hand.counts("71 alive 1 dead")
    hand.touch("Undo")
    hand.counts("72 alive 0 dead")
    expect(hand.button("Undo")).to_be_disabled()


def test_a_reload_goes_on_where_the_round_was(walk):
    hand = walk()
    hand.close_and_next()
    hand.touch(9)
    hand.page.reload()
    hand.is_at(2, 1)
    hand.counts("71 alive 1 dead")
    hand.close_and_next()
    hand.is_at(3, 2)
    hand.page.goto("/round")
    expect(hand.page.get_by_text("A round is open on this tablet")).to_be_visible()
    hand.page.get_by_role("link", name="Go on with the round").tap()
    hand.is_at(3, 2)


def test_a_bounce_on_close_does_not_close_the_next_flat(walk):
    hand = walk()
    close = hand.button("Close, next flat")
    hand.page.wait_for_timeout(750)
    before = hand.page.url
    close.tap()
    hand.page.wait_for_url(lambda url: url != before)
    close.tap()
    hand.page.wait_for_timeout(300)
    hand.is_at(2, 1)


def test_another_flat_is_chosen_from_the_list_or_typed(walk, flats, bob):
    hand = walk()
    hand.touch("All flats")
    dialog = hand.page.get_by_role("dialog", name="Due today")
    expect(dialog.get_by_role("listitem")).to_have_count(4)
    dialog.get_by_role("listitem").nth(2).get_by_role("button").tap()
    hand.is_at(3, 0)
    hand.touch("All flats")
    dialog.get_by_label("Code of a flat").fill(hand.at.lower())
    dialog.get_by_role("button", name="Open").tap()
    expect(dialog).to_be_hidden()
    hand.is_at(1, 0)
    hand.touch("All flats")
    dialog.get_by_label("Code of a flat").fill("F0000")
    dialog.get_by_role("button", name="Open").tap()
    expect(dialog.get_by_text("F0000 is no code of a flat.")).to_be_visible()


def test_a_round_may_be_ended_before_it_is_done(walk):
    hand = walk()
    hand.touch(5)
    hand.close_and_next()
    hand.touch("All flats")
    hand.touch("End the round")
    expect(hand.page.get_by_text("1 of 4 flats closed: 1 dead in 1 of them.")).to_be_visible()
    hand.page.goto("/round")
    expect(hand.page.get_by_text("A round is open on this tablet")).to_be_hidden()


def test_the_keyboard_alone_walks_a_round(walk):
    hand = walk()
    hand.cell(1).focus()
    hand.page.keyboard.press("ArrowRight")
    hand.page.keyboard.press("d")
    hand.sees(2, "A2, dead", pressed=True)
    hand.page.keyboard.press("ArrowDown")
    hand.page.keyboard.press("w")
    hand.sees(14, "B2, wilting", pressed=True)
    hand.page.keyboard.press("u")
    hand.sees(14, "B2, alive", pressed=False)
    hand.page.keyboard.press("r")
    hand.sees(14, "B2, wilting", pressed=True)
    hand.page.wait_for_timeout(750)
    hand.page.keyboard.press("n")
    hand.is_at(2, 1)
    hand.is_saved()
    assert counts() == [(71, 1)]


def test_the_screen_is_asked_to_stay_awake_during_a_round_and_again_when_it_comes_back(walk, open_page, bob):
    page = open_page(TABLET, bob)
    page.add_init_script("""
        window.asked = 0;
        const wakeLock = { request: async () => { window.asked += 1; } };
        Object.defineProperty(navigator, "wakeLock", { value: wakeLock });""")
    hand = RoundHand(page)
    hand.is_at(1, 0)
    assert page.evaluate("window.asked") == 1
    page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    assert page.evaluate("window.asked") == 2


def test_a_tablet_that_keeps_no_pages_says_so(walk):
    hand = walk()  # the workers of this browser are blocked
    expect(hand.page.get_by_text("Without network it cannot load this page again")).to_be_visible()
    expect(hand.page.get_by_role("link", name="Why")).to_have_attribute("href", "/this-tablet")


def test_a_scanned_label_comes_into_the_round_and_a_foreign_one_is_said(walk, farm):
    hand = walk()
    other = make_flat()
    make_run(other, grafted_on=timezone.localdate() - timedelta(days=3))
    scan = """([text]) => document.querySelector('[data-scan="scanned"]').dispatchEvent(
        new CustomEvent("scanned", { bubbles: true, detail: { code: text, text } }))"""
    hand.page.evaluate(scan, [other.code])
    expect(hand.page.locator("#round-said")).to_contain_text("2 of 5, 0 closed")
    hand.page.evaluate(scan, ["P000000"])
    hand.says("P000000 is no code of a flat. Scan the label again, or type it.")


def test_marks_are_signed_by_who_is_working(walk, bob):
    hand = walk()
    hand.touch(3)
    hand.is_saved()
    mark = Mark.objects.get()
    assert (mark.by_worker, mark.sent_by) == (bob.worker, bob)
    assert isinstance(mark.device.uuid, UUID)
