"""Where a scan leads: the forms that have a field for a code."""

import random

import pytest
from playwright.sync_api import expect

from nursery.actions.codes import issue_code
from nursery.actions.starting import ensure_starting_values
from nursery.calc.codes import spoken
from nursery.labels import CodeLabel
from nursery.models import Flat, PrintedCode
from tests.browser.camera import label_picture, printed, seen
from tests.factories import (
    GRAFTED_AT,
    make_cultivar,
    make_flat,
    make_pairing,
    make_run,
    make_session,
    make_worker,
)
from tests.yard import make_yard


@pytest.fixture
def ahead(farm, transactional_db):
    """A label printed ahead: its code, and how it looks."""
    ensure_starting_values()
    code = issue_code("F", random.Random(7))
    label = CodeLabel(code=code, address=f"HTTP://192.0.2.7:8000/{code}", farm="Test farm")
    PrintedCode.objects.create(code=code, printed_at=GRAFTED_AT)
    return code, seen(printed(label))


@pytest.fixture
def session(ahead):
    """A session in which Ada grafted one flat and finished it."""
    ada = make_worker("Ada")
    pairing = make_pairing(make_cultivar("Amber Lantern"), make_cultivar("Stonefoot"))
    session = make_session()
    make_run(make_flat(), session=session, worker=ada, pairing=pairing)
    return session


def test_the_next_flat_at_the_bench_is_put_on_by_one_scan(with_camera, ahead, session):
    code, picture = ahead
    scanner = with_camera([picture]).start(f"/bench/{session.key}")
    scanner.scan()
    expect(scanner.page.locator(".in-hand")).to_contain_text(spoken(code), timeout=15000)
    assert Flat.objects.filter(code=code).exists()


def test_a_form_that_asks_for_more_is_filled_and_not_sent(with_camera, ahead, session):
    code, picture = ahead
    scanner = with_camera([picture]).start(f"/bench/{session.key}/put-on")
    scanner.scan()
    expect(scanner.page.get_by_label("Code of the flat")).to_have_value(spoken(code), timeout=15000)
    scanner.page.wait_for_timeout(300)
    assert not Flat.objects.filter(code=code).exists()


def test_moving_takes_a_flat_up_by_the_camera(with_camera, farm, transactional_db):
    make_yard()
    flat = make_flat()
    make_run(flat)
    scanner = with_camera([seen(label_picture(flat.code))]).start("/move/scan")
    scanner.scan()
    expect(scanner.page.locator(".scan-list")).to_contain_text(spoken(flat.code), timeout=15000)


def test_the_page_of_a_wrong_code_offers_the_camera(with_camera, flat72):
    scanner = with_camera([seen(label_picture(flat72.code))]).start("/find?code=nothing")
    scanner.scan()
    scanner.opens(flat72)


def test_a_scan_in_a_check_goes_to_that_flat(with_camera, flat72):
    other = make_flat()
    make_run(other)
    scanner = with_camera([seen(label_picture(other.code))]).start(f"/{flat72.code}/check")
    scanner.scan()
    expect(scanner.page.locator("#check-code")).to_have_text(spoken(other.code), timeout=15000)
