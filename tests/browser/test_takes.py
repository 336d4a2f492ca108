"""The take page by touch: a row leads on to what it is made of, and a pill leaves a filter out."""

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import PHONE, TABLET
from tests.factories import make_cultivar, make_pairing, make_worker
from tests.models.test_takes import recorded

SIZES = pytest.mark.parametrize("size", [TABLET, PHONE], ids=["tablet", "phone"])


@pytest.fixture
def two_pairings(farm, transactional_db):
    """Wren took 60 and 66 of 72 of one pairing, somebody 40; Ash 50 of another."""
    tallow = make_cultivar("Tallow")
    one = make_pairing(make_cultivar("Amber Lantern"), tallow)
    other = make_pairing(make_cultivar("Ruby Coach"), tallow)
    recorded(one, 60, 66, worker=make_worker("Wren"))
    recorded(one, 40)
    recorded(other, 50, worker=make_worker("Ash"))


@SIZES
def test_a_row_is_opened_cut_again_and_left_out(open_page, two_pairings, alice, size):
    page = open_page(size, alice)
    page.goto("/takes")
    rows = page.locator(".take-rows tbody tr")
    expect(rows).to_have_count(2)
    page.get_by_role("link", name="Amber Lantern on Tallow").tap()
    only = page.get_by_role("navigation", name="Only")
    expect(only).to_contain_text("Pairing: Amber Lantern on Tallow")
    expect(rows).to_have_count(1)
    page.get_by_role("link", name="Grafter", exact=True).tap()
    expect(rows).to_have_count(2)
    expect(rows.first).to_contain_text("126 of 144")
    rows.filter(has_text="not recorded").get_by_role("link").tap()
    expect(only.get_by_role("link")).to_have_count(2)
    expect(rows).to_contain_text(["40 of 72"])
    kept = page.url
    only.get_by_role("link", name="Pairing").tap()
    expect(only.get_by_role("link")).to_have_count(1)
    expect(only).to_contain_text("Grafter: not recorded")
    page.goto(kept)  # as a bookmark
    expect(only.get_by_role("link")).to_have_count(2)


@SIZES
def test_days_of_grafting_are_typed_and_become_pills(open_page, two_pairings, alice, size):
    page = open_page(size, alice)
    page.goto("/takes?by=grafter")
    page.get_by_text("Narrow down").tap()
    page.get_by_label("Grafted from").fill("2026-03-03")
    page.get_by_role("button", name="Show").tap()
    expect(page.locator("main")).to_contain_text("Nothing has been counted under these filters")
    expect(page.get_by_role("link", name="Grafter", exact=True)).to_have_attribute("aria-current", "page")
    page.get_by_role("navigation", name="Only").get_by_role("link").tap()
    expect(page.locator(".take-rows tbody tr")).to_have_count(3)
