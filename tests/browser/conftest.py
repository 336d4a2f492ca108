"""Browsers for the tests that only a browser can decide: a tablet and a phone, both driven by touch."""

import os
import shutil
from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone

os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "true")  # Playwright's loop runs in the tests' thread

from playwright.sync_api import sync_playwright

from tests.browser.checkhand import Hand
from tests.browser.drawn import DrawnFlat
from tests.browser.scanner import Scanners
from tests.factories import make_flat, make_run

PROGRAM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
CHROMIUM_ARGS = ["--no-sandbox", "--disable-background-networking"]
WITHOUT_WORKER = {"service_workers": "block"}  # page.route() does not see what a service worker answers
TABLET, PHONE = {"width": 1024, "height": 768}, {"width": 360, "height": 780}


def pytest_collection_modifyitems(items):
    for item in items:
        if "tests/browser/" in str(item.path):
            item.add_marker(pytest.mark.browser)


@pytest.fixture(scope="session")
def chromium():
    """One Chromium for all tests: the system's, else the one that Playwright brings."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=PROGRAM, args=CHROMIUM_ARGS)
        yield browser
        browser.close()


@pytest.fixture
def open_page(chromium, live_server, farm):
    """Open a page of a given size; ``open_page(TABLET, account)`` has that account logged in.

    At the end a script that failed, or a breach of the content policy, fails the test.
    """
    contexts, faults = [], []

    def opened(size, account=None, **options):
        options = {"viewport": size, "has_touch": True, "is_mobile": True, **WITHOUT_WORKER, **options}
        context = chromium.new_context(base_url=live_server.url, **options)
        context.set_default_timeout(5000)
        contexts.append(context)
        if account is not None:
            log_in_context(context, live_server.url, account)
        page = context.new_page()
        page.on("pageerror", lambda error: faults.append(str(error)))
        page.on("console", lambda said: faults.append(said.text) if is_breach(said.text) else None)
        return page

    yield opened
    for context in contexts:
        context.close()
    assert faults == []


def is_breach(text):
    return "Content Security Policy" in text


def log_in_context(context, url, account):
    """Put a session of ``account`` into a browser, as if it had logged in."""
    client = Client()
    client.force_login(account)
    session = client.cookies["sessionid"].value
    context.add_cookies([{"name": "sessionid", "value": session, "url": url}])


@pytest.fixture
def log_in(live_server):
    """``log_in(page, account)`` logs the browser of that page in."""

    def logged_in(page, account):
        log_in_context(page.context, live_server.url, account)
        return page

    return logged_in


@pytest.fixture
def tablet_page(open_page):
    """A tablet in which nobody is logged in yet, 1024 x 768."""
    return open_page(TABLET)


@pytest.fixture
def phone_page(open_page):
    """A phone in which nobody is logged in yet, 360 x 780."""
    return open_page(PHONE)


@pytest.fixture
def flat72(farm, transactional_db):
    """A flat of 72 that Bob can check, a week after its grafting."""
    flat = make_flat()
    make_run(flat, grafted_on=timezone.localdate() - timedelta(days=7))
    return flat


@pytest.fixture
def open_check(open_page, flat72, bob):
    """``open_check("phone")`` opens that check for Bob. What was marked is sent before the end."""
    hands = []

    def opened(size="tablet"):
        hands.append(Hand(open_page({"tablet": TABLET, "phone": PHONE}[size], bob), flat72))
        return hands[-1]

    yield opened
    for hand in hands:
        if hand.page.locator("#check-saved").count():
            hand.is_saved()


@pytest.fixture
def hand(open_check):
    """Bob's finger on the tablet."""
    return open_check()


@pytest.fixture
def draw(chromium):
    """``draw(PHONE, sheet)`` shows a drawn flat on a bare page, without a server."""
    contexts = []

    def drawn(size, sheet, **options):
        options = {"viewport": size, "has_touch": True, "is_mobile": True, **options}
        contexts.append(chromium.new_context(**options))
        contexts[-1].set_default_timeout(5000)
        return DrawnFlat(contexts[-1], sheet)

    yield drawn
    for context in contexts:
        context.close()


@pytest.fixture
def with_camera(chromium, live_server, bob, tmp_path):
    """``with_camera(pictures)`` is Bob's tablet whose camera shows these; see Scanners."""

    def launch(args):
        return chromium.browser_type.launch(executable_path=PROGRAM, args=[*CHROMIUM_ARGS, *args])

    def log_in(context, url):
        log_in_context(context, url, bob)

    scanners = Scanners(launch, live_server.url, log_in, tmp_path)
    yield scanners
    scanners.close()
    assert scanners.faults == []
