"""What forms and refusals answer with, under axe: pages that no address alone leads to."""

import pytest

from nursery.models import DayCount
from tests import crowder
from tests.browser.conftest import TABLET
from tests.browser.looker import Looker
from tests.factories import make_crop, make_cultivar, make_flat, make_pairing, make_run, make_session


@pytest.fixture
def look(open_page, farm):
    """``look(account)`` looks at pages as somebody; at the end nothing may be wrong with them."""
    lookers = []

    def looking(account=None):
        lookers.append(Looker(open_page(TABLET, account)))
        return lookers[-1]

    yield looking
    faults = [fault for looker in lookers for fault in looker.faults]
    assert not faults, "\n".join(map(str, faults))


def send_empty(looker, address, form, says):
    """Send a form as it comes, whatever the browser thinks of it, and look at the answer."""
    looker.page.goto(address)
    looker.page.set_viewport_size(TABLET)
    with looker.page.expect_navigation():
        looker.page.evaluate(
            "(form) => HTMLFormElement.prototype.submit.call(document.querySelector(form))", form
        )
    assert says in looker.page.inner_text("body")
    looker.look()


def test_the_first_page_of_an_empty_book(look):
    looker = look()
    looker.open("/first-account")
    assert "key" in looker.page.inner_text("main")


def test_a_login_that_fails(look, alice):
    send_empty(look(), "/login", "#login-form", "This field is required.")


def test_an_empty_book(look, alice):
    looker = look(alice)
    for address in ("/", "/bench", "/flats", "/takes", "/labels", "/records/pairings", "/records/sowings"):
        looker.open(address)


def test_forms_sent_empty(look, alice):
    make_pairing()
    session = make_session()
    looker = look(alice)
    send_empty(looker, "/records/cultivars/new", "#record", "choose")
    send_empty(looker, "/records/seasons/new", "#record", "enter it")
    send_empty(looker, "/accounts/new", "#account-form", "This field is required")
    send_empty(looker, f"/bench/{session.key}/put-on", "#put-on", "Scion on rootstock")
    send_empty(looker, "/tallies", "#tally-file", "Table (CSV or XLSX)")


def test_what_may_not_be_seen_or_is_not_there(look, bob, charlie):
    looker = look(bob)
    looker.open("/records/farm")
    looker.open("/nowhere")
    tablet = look(charlie)
    tablet.open("/takes?by=grafter")
    tablet.open("/who")


def test_past_seasons_looked_at_before_they_are_stored(look, alice, tmp_path):
    file = tmp_path / "past.csv"
    file.write_bytes(crowder.tallies_csv())
    looker = look(alice)
    looker.page.goto("/tallies")
    looker.page.set_input_files("[type=file]", file)
    looker.page.get_by_role("button", name="Look at it first").tap()
    looker.page.get_by_role("button", name="Store these rows").wait_for()
    looker.look()
    looker.page.set_viewport_size(TABLET)
    looker.page.get_by_role("button", name="Store these rows").tap()
    looker.page.get_by_text("Seed 75 on Bean").wait_for()
    assert DayCount.objects.count() == len(list(crowder.plates()))
    looker.look()


def test_a_flat_of_288_and_its_small_cells(look, alice):
    crop = make_crop("Melon")
    flat = make_flat(12, 24)
    make_run(flat, places=range(1, 289), pairing=make_pairing(make_cultivar(crop=crop), make_cultivar()))
    looker = look(alice)
    looker.open(f"/{flat.code}")
    looker.open(f"/{flat.code}/check")
