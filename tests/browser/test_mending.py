"""Mending by touch: settle a disagreement, put three flats right at once, find a flat by its cells."""

import re
from datetime import timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from nursery.models import Change, DayCount, Mark, Run, RunSowing
from tests.browser.conftest import PHONE, TABLET
from tests.factories import make_flat, make_lot, make_pairing, make_run, make_sowing, make_worker
from tests.views.checking import check_flat


@pytest.fixture
def graft(farm, transactional_db):
    """Graft a flat, nine days ago."""
    pairing = make_pairing()

    def grafted(dead=()):
        flat = make_flat()
        make_run(flat, pairing=pairing, grafted_on=timezone.localdate() - timedelta(days=9))
        if dead:
            check_flat(flat, dict.fromkeys(dead, "dead"), days_ago=1)
        return flat

    return grafted


@pytest.mark.parametrize("size", [TABLET, PHONE])
def test_one_touch_settles_a_disagreement_where_it_stands(open_page, bob, graft, size):
    flat = graft()
    check_flat(flat, {5: "dead", 6: "dead"}, days_ago=1, worker=make_worker("Ana"))
    check_flat(flat, {5: "wilting", 6: "firm"}, worker=make_worker("Ben"))
    page = open_page(size, bob)
    page.goto("/disagreements")
    page.get_by_role("button", name="Wilting, as Ben says").tap()
    expect(page.get_by_text("A5 settled: wilting.")).to_be_visible()
    expect(page.get_by_text("People disagree on A6.")).to_be_visible()  # the page was not left
    page.get_by_role("button", name="Dead, as Ana says").tap()
    expect(page.get_by_text("A6 settled: dead.")).to_be_visible()
    assert Mark.objects.filter(kind="correction").count() == 2
    assert not DayCount.objects.filter(has_disagreement=True).exists()


def test_the_wrong_lot_on_three_flats_is_put_right_at_once_and_back(open_page, alice, graft):
    flats = [graft() for _ in range(3)]
    rootstock = flats[0].runs.get().pairing.rootstock
    wrong, right = (make_sowing(make_lot(rootstock)) for _ in range(2))
    for run in Run.objects.all():
        RunSowing.objects.create(run=run, sowing=wrong, side="rootstock")
    page = open_page(TABLET, alice)
    page.goto("/put-right")
    page.get_by_role("button", name="All on this page").tap()
    page.get_by_text("Lot of the rootstock", exact=True).tap()
    page.get_by_role("button", name="Go on").tap()
    page.get_by_text(f"lot {wrong.lot.lot_number} ").tap()
    page.get_by_text(f"lot {right.lot.lot_number} ").tap()
    page.get_by_label("Why").fill("wrong lot was written on the last three flats")
    page.get_by_role("button", name="Put 3 flats right").tap()
    expect(page.get_by_role("heading", level=1)).to_have_text("3 flats put right")
    expect(page.get_by_role("main")).to_contain_text(right.lot.lot_number)
    assert set(RunSowing.objects.values_list("sowing", flat=True)) == {right.pk}
    page.get_by_role("button", name="Put back").tap()
    expect(page.get_by_text("Put back as it was.")).to_be_visible()
    assert set(RunSowing.objects.values_list("sowing", flat=True)) == {wrong.pk}
    assert Change.objects.count() == 6


def test_taps_on_an_empty_flat_find_the_one_without_a_label(open_page, bob, graft):
    graft([1, 2]), graft([30])
    wanted = graft([1, 15])
    page = open_page(TABLET, bob)
    page.goto("/find-flat")
    for name in ("A1", "B3", "C5", "C5"):  # the last one was a slip, and is tapped away again
        page.get_by_role("button", name=re.compile(f"^{name},")).tap()
    expect(page.get_by_role("textbox", name="Dead or empty")).to_have_value("A1 B3")
    first = page.locator(".found-flat").first
    expect(first).to_contain_text("2 of 2 tapped cells fit")
    expect(first.get_by_role("link").first).to_have_attribute("href", f"/{wanted.code}")
    expect(page.get_by_role("button", name="B3, dead or empty")).to_be_visible()
