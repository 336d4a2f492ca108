"""What becomes of the marks of a check: kept on the tablet, sent from there, taken up after a reload."""

import json

import pytest
from django.contrib.sessions.models import Session
from playwright.sync_api import expect

from nursery.models import Cell, Check, Closing, Mark
from tests.browser.checkhand import Hand, day
from tests.browser.conftest import TABLET, log_in_context

API = "**/api/marks"


def answer(route, status, body):
    route.fulfill(status=status, content_type="application/json", body=json.dumps(body))


def test_a_reload_in_the_middle_keeps_what_was_sent(hand):
    hand.touch(5)
    hand.touch(6)
    hand.is_saved()
    hand.page.reload()
    hand.counts("70 alive 2 dead")
    hand.sees(5, "A5, dead", pressed=True)
    expect(hand.page.get_by_text("began a check")).to_have_count(0)
    hand.touch(5)
    hand.sees(5, "A5, alive", pressed=False)
    hand.touch(7)
    hand.close()
    assert day() == (70, 0, 2)
    assert Check.objects.count() == 1


def test_marks_that_could_not_be_sent_are_counted_and_tried_again(hand):
    hand.page.route(API, lambda route: route.abort())
    for cell in (5, 6, 7):
        hand.touch(cell)
    hand.is_saved("3 marks waiting")
    assert not Mark.objects.exists()
    hand.page.unroute(API)
    hand.is_saved()
    assert Mark.objects.count() == 3


def test_a_server_in_trouble_is_asked_again(hand):
    hand.page.route(API, lambda route: answer(route, 503, {"error": "busy"}))
    hand.touch(5)
    hand.is_saved("1 mark waiting")
    hand.page.unroute(API)
    hand.is_saved()
    assert Mark.objects.count() == 1


def test_an_expired_login_says_so_and_after_logging_in_the_marks_arrive(hand, live_server, bob):
    Session.objects.all().delete()
    hand.touch(5)
    link = hand.page.get_by_role("link", name="Not sent: log in again")
    expect(link).to_be_visible()
    assert link.get_attribute("target") == "_blank"
    hand.touch(6)
    assert not Mark.objects.exists()
    log_in_context(hand.page.context, live_server.url, bob)
    hand.page.evaluate("window.dispatchEvent(new Event('focus'))")  # coming back from the other tab
    hand.is_saved()
    assert sorted(Mark.objects.values_list("cell__place_no", flat=True)) == [5, 6]


def test_the_link_to_log_in_again_leads_through_the_login_page(hand, bob):
    Session.objects.all().delete()
    hand.touch(5)
    link = hand.page.get_by_role("link", name="Not sent: log in again")
    with hand.page.context.expect_page() as other:
        link.tap()
    other.value.get_by_label("Name").fill("bob")
    other.value.get_by_label("Password").fill("a-long-password")
    other.value.get_by_role("button", name="Log in", exact=True).tap()
    expect(other.value.get_by_text("Who grafted what")).to_be_visible()
    other.value.close()
    hand.page.evaluate("window.dispatchEvent(new Event('focus'))")
    hand.is_saved()
    assert Mark.objects.count() == 1


def test_closing_waits_for_the_marks(hand):
    hand.page.route(API, lambda route: route.abort())
    hand.touch(5)
    hand.is_saved("1 mark waiting")
    hand.touch("Close check")
    expect(hand.page.locator("#check-close")).to_be_disabled()
    hand.cell(6).tap()
    hand.sees(6, "A6, alive")
    hand.page.unroute(API)
    hand.lands()
    assert day() == (71, 0, 1)


def test_closing_goes_with_the_last_of_many_marks(hand):
    hand.page.route(API, lambda route: route.abort())
    for act in ("Row A", "All", "Undo", "All"):
        hand.touch(act)
    hand.is_saved("192 marks waiting")
    hand.touch("Close check")
    hand.page.unroute(API)
    hand.lands()
    assert day() == (0, 0, 72)
    assert len(Closing.objects.get().known_marks) == Mark.objects.count() == 192


def test_marks_that_wait_outlast_a_reload_and_leave_from_any_page_of_the_check(hand):
    hand.page.route(API, lambda route: route.abort())
    for cell in (5, 6):
        hand.touch(cell)
    hand.is_saved("2 marks waiting")
    hand.page.reload()
    hand.counts("70 alive 2 dead")
    hand.sees(5, "A5, dead", pressed=True)
    hand.is_saved("2 marks waiting")
    hand.touch("Undo")
    hand.counts("71 alive 1 dead")
    hand.page.unroute(API)
    hand.is_saved()
    hand.close()
    assert day() == (71, 0, 1)
    assert Check.objects.count() == 1


def test_a_refused_mark_is_undone_and_says_why(hand):
    Cell.objects.filter(place_no=5).delete()
    hand.touch(5)
    hand.says("A5 was not taken: There is no such cell in this flat.")
    hand.sees(5, "A5, alive", pressed=False)
    hand.is_saved()


def test_300_marks_go_in_batches_of_at_most_100(hand):
    sizes = []
    hand.page.on("request", lambda request: "api/marks" in request.url and sizes.append(batch(request)))
    for act in ("All", "Undo", "All", "Undo", "All"):
        hand.touch(act)
    hand.is_saved()
    assert max(sizes) <= 100
    assert sum(sizes) == 5 * 72 == Mark.objects.count()


def batch(request):
    return len(json.loads(request.post_data)["marks"])


@pytest.mark.parametrize("status", [403, 400])
def test_what_waiting_cannot_mend_is_said(hand, status):
    words = {403: "Not sent: this login may not mark flats", 400: "Not sent: load the page again"}
    hand.page.route(API, lambda route: answer(route, status, {"error": "forbidden"}))
    hand.touch(5)
    hand.is_saved(words[status])
    hand.page.unroute(API)
    hand.page.evaluate("window.dispatchEvent(new Event('focus'))")
    hand.is_saved()


@pytest.mark.parametrize("has_locks", [True, False])
def test_of_two_tabs_one_sends(open_page, flat72, bob, has_locks):
    hand = Hand(open_page(TABLET, bob), flat72)
    sent = []
    if not has_locks:  # as on plain HTTP
        hand.page.context.add_init_script("delete Navigator.prototype.locks")
        hand.page.reload()
    other = hand.page.context.new_page()
    other.goto(hand.page.url)
    for number, page in enumerate([hand.page, other]):
        page.on("request", lambda request, tab=number: "api/marks" in request.url and sent.append(tab))
    hand.counts("72 alive 0 dead")
    for cell in (5, 6, 7):
        hand.touch(cell)
        hand.page.wait_for_timeout(150)
    hand.is_saved()
    expect(other.locator("#check-count")).to_have_text("69 alive 3 dead")
    assert Mark.objects.count() == 3
    assert has_locks or len(set(sent)) == 1
