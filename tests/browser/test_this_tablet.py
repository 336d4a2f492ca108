"""What a tablet is told about itself, with features there and taken away."""

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import PHONE
from tests.browser.test_https import WAITING, shows

PLAIN_HTTP = "Object.defineProperty(self, 'isSecureContext', {value: false})"
NO_STORE = "IDBFactory.prototype.open = () => { throw new DOMException('no', 'SecurityError'); }"
CAMERA = "navigator.mediaDevices.enumerateDevices = async () => [{kind: 'videoinput'}]"
PROMISED = "StorageManager.prototype.persisted = async () => true"
NO_WAKE = "delete Navigator.prototype.wakeLock"


@pytest.fixture
def told(open_page, bob):
    """``told(script)`` opens the page in a browser changed by that script."""

    def opened(script=""):
        page = open_page(PHONE, bob, service_workers="allow")
        page.add_init_script(script)
        page.goto("/this-tablet")
        return page

    return opened


@pytest.mark.parametrize(
    ("script", "findings"),
    [
        ("", {"pages": "yes", "awake": "yes", "camera": "none", "kept": "yes"}),
        (CAMERA, {"camera": "yes"}),
        (PROMISED, {"kept": "promised"}),
        (NO_WAKE, {"awake": "missing"}),
        (NO_STORE, {"kept": "refused"}),
        (PLAIN_HTTP, {"pages": "plain", "awake": "plain", "camera": "plain", "kept": "plain"}),
    ],
    ids=["as it is", "a camera", "a promise", "no wake lock", "nothing kept", "plain http"],
)
def test_says_what_holds_and_only_that(told, script, findings):
    page = told(script)
    for ability, finding in findings.items():
        shows(page, ability, finding)
        lines = page.locator(f'[data-ability="{ability}"] [data-finding]:visible')
        expect(lines).to_have_count(1)


def test_says_what_is_missing_and_where_to_go(told):
    page = told(PLAIN_HTTP)
    page.locator('[data-ability="camera"]').get_by_role("link").click()
    page.wait_for_url("**/trust")


def test_counts_what_waits_and_leaves_no_store_behind(told):
    page = told()
    expect(page.locator("#room")).to_be_visible()
    expect(page.locator("#waiting-none")).to_be_visible()
    page.evaluate(WAITING)
    page.reload()
    expect(page.locator('[data-count="marks"]')).to_have_text("2")
    expect(page.locator('[data-count="others"]')).to_have_text("2")
    expect(page.locator("#waiting-none")).to_be_hidden()
