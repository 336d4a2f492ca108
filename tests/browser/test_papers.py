"""Own label papers in the browser: the sheet is drawn while it is typed; axe looks at what a form answers."""

import pytest

from nursery.models import LabelStock
from tests.browser.conftest import TABLET
from tests.browser.looker import Looker
from tests.factories import make_place, make_sowing

NEW = "/labels/papers/new"


@pytest.fixture
def page(open_page, alice):
    return open_page(TABLET, alice)


def test_the_sheet_is_drawn_while_its_measures_are_typed(page):
    page.goto(NEW)
    page.get_by_label("Label width (A), mm").fill("70")
    page.get_by_label("Label height (B), mm").fill("37")
    page.get_by_label("Labels across").fill("3")
    page.get_by_label("Labels down").fill("8")
    page.locator("#paper-sheet rect.label").nth(23).wait_for()
    assert page.locator("#paper-sheet rect.label").count() == 24
    page.get_by_label("Labels across").fill("4")
    page.get_by_text("4 labels of 70 mm across need 280 mm with the margin, the page has 210 mm.").wait_for()
    assert page.locator("#paper-sheet rect").count() == 0
    assert not LabelStock.objects.exists()


def test_a_roll_asks_for_no_measures_of_a_sheet(page):
    page.goto(NEW)
    assert page.get_by_label("Labels across").is_visible()
    page.get_by_text("Roll or single labels").click()
    assert not page.get_by_label("Labels across").is_visible()
    page.get_by_label("Name").fill("Wide roll")
    page.get_by_label("Label width (A), mm").fill("80")
    page.get_by_label("Label height (B), mm").fill("50")
    page.get_by_role("button", name="Save").click()
    page.get_by_text("“Wide roll” is stored.").wait_for()
    assert page.locator("#paper-sheet rect.label").count() == 1


def test_axe_finds_nothing_on_label_pages_and_their_answers(page, farm):
    make_place("番茄")
    make_sowing()
    looker = Looker(page)
    page.goto(NEW)
    page.get_by_label("Label width (A), mm").fill("70")
    page.get_by_label("Labels across").fill("9")
    with page.expect_navigation():
        page.get_by_role("button", name="Save").click()
    looker.look()
    paper = LabelStock.objects.create(name="Own", paper="A4", label_width_mm=70, label_height_mm=37)
    for address in (
        f"/labels/papers/{paper.key}",
        "/labels/papers",
        "/labels/places",
        "/labels/sowings?all",
        "/labels/scripts",
    ):
        looker.open(address)
    page.goto("/labels/places")
    page.evaluate("document.querySelector('#label-print').target = '_self'")
    with page.expect_navigation():
        page.get_by_role("button", name="Print the labels").click()
    assert "do not print: 番茄" in page.inner_text("body")
    looker.look()
    assert not looker.faults, "\n".join(map(str, looker.faults))
