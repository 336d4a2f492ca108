"""How a check can end, under axe: part of a flat, numbers, half a check, asked to be opened again."""

from datetime import timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from nursery.actions.closings import ask_to_reopen
from nursery.actions.leaving import Goal, let_leave_by_number
from nursery.actions.stamp import Stamp
from tests.browser.conftest import TABLET
from tests.browser.looker import Looker
from tests.factories import make_flat, make_pairing, make_run, make_session
from tests.views.checking import check_flat


@pytest.fixture
def look(open_page, flat72):
    """``look(account)`` looks at pages as somebody; at the end nothing may be wrong with them."""
    lookers = []

    def looking(account):
        lookers.append(Looker(open_page(TABLET, account)))
        return lookers[-1]

    yield looking
    faults = [fault for looker in lookers for fault in looker.faults]
    assert not faults, "\n".join(map(str, faults))


def test_part_of_a_flat_while_it_is_chosen(look, flat72, bob):
    check_flat(flat72, {5: "dead", 50: "wilting"}, days_ago=3)
    looker = look(bob)
    looker.page.goto(f"/{flat72.code}/check")
    looker.page.get_by_role("button", name="Only part of it").tap()
    looker.look()
    looker.page.set_viewport_size(TABLET)
    for row in "AB":
        looker.page.get_by_role("button", name=f"Row {row}", exact=True).tap()
    expect(looker.page.get_by_text("Seen up to B12.")).to_be_visible()
    looker.look()
    looker.page.get_by_role("button", name="Go on marking").tap()
    looker.look()


def test_numbers_and_what_is_wrong_with_them(look, flat72, bob):
    run = flat72.runs.get()
    pool = make_flat(is_pooled=True)
    let_leave_by_number(flat72, numbers={run.pk: 30}, goal=Goal("moved", to_flat=pool), stamp=Stamp.now())
    looker = look(bob)
    for flat in (flat72, pool, make_flat()):
        looker.open(f"/{flat.code}/numbers")
    looker.page.goto(f"/{pool.code}/numbers")
    looker.page.set_viewport_size(TABLET)
    looker.page.get_by_label("Dead", exact=True).fill("20")
    looker.page.get_by_label("Of them wilting", exact=True).fill("20")
    looker.page.get_by_role("button", name="Save the count").tap()
    expect(looker.page.get_by_text("30 plants stand here; 20 dead and 20 wilting are more.")).to_be_visible()
    looker.look()


def test_half_a_check_asked_to_be_opened_again(look, flat72, bob, alice):
    check = check_flat(flat72, {1: "dead"}, seen=range(1, 37), worker=bob.worker)
    crew = look(bob)
    for address in ("", "/check", "/numbers", f"?closed={check.uuid}", f"/check/{check.uuid}"):
        crew.open(f"/{flat72.code}{address}")
    ask_to_reopen(check, stamp=Stamp.now(bob, bob.worker))
    crew.open(f"/{flat72.code}")
    grower = look(alice)
    for address in ("/", f"/{flat72.code}", f"/{flat72.code}/check/{check.uuid}"):
        grower.open(address)


def test_a_sample_of_a_batch_takes_one_touch(look, bob):
    pairing, session = make_pairing(), make_session()
    grafted_on = timezone.localdate() - timedelta(days=7)
    for _ in range(12):
        make_run(places=[1, 2], pairing=pairing, session=session, grafted_on=grafted_on)
    looker = look(bob)
    looker.open("/")
    looker.page.set_viewport_size(TABLET)
    looker.page.get_by_role("button", name="Count a sample of 6").tap()
    expect(looker.page.get_by_text("A sample of 6 of 12 flats, 0 counted")).to_be_visible()
    looker.look()
