"""What the service worker shows without network, what it never shows, and how a new version comes in."""

import threading
import time

import pytest
from django.http import HttpResponse
from playwright.sync_api import Error, expect

from nursery.views import worker
from tests.browser.conftest import TABLET
from tests.browser.looker import Looker

ASK = """async (message) => {
  const { active } = await navigator.serviceWorker.ready;
  const { port1, port2 } = new MessageChannel();
  return new Promise((resolve) => {
    port1.onmessage = ({ data }) => resolve(data);
    active.postMessage(message, [port2]);
  });
}"""
CONTROLLED = "navigator.serviceWorker.ready.then(() => navigator.serviceWorker.controller !== null)"
PUT_META = """(value) => new Promise((resolve, reject) => {
  const asked = indexedDB.open("takebook");
  asked.onerror = () => reject(asked.error);
  asked.onsuccess = () => {
    const put = asked.result.transaction("meta", "readwrite");
    put.objectStore("meta").put({ key: "round", value });
    put.oncomplete = () => { asked.result.close(); resolve(); };
  };
})"""
FRESH = "() => document.body && !('old' in document.body.dataset)"
NOTHING = "No network, and nothing was taken along"


class Tablet:
    """A tablet with the service worker at work."""

    def __init__(self, page):
        self.page = page

    def goes(self, path):
        self.page.goto(path)
        return self

    def is_ready(self):
        return self.until(CONTROLLED)

    def until(self, promise):
        """Wait until a promise gives true; Playwright's own waiting takes the promise itself for that."""
        end = time.monotonic() + 20
        while not self.page.evaluate(promise):
            assert time.monotonic() < end, promise
            self.page.wait_for_timeout(50)
        return self

    def asks(self, kind, **more):
        return self.page.evaluate(ASK, {"type": kind, **more})

    def keeps(self, *urls):
        answer = self.asks("keep", urls=list(urls or ("/check",)))
        assert answer == {"ok": True, "failed": []}
        return self

    def kept(self):
        return self.page.evaluate("""async () => {
          const found = [];
          for (const name of await caches.keys()) {
            if (!name.startsWith("takebook-pages-")) continue;
            for (const { url } of await (await caches.open(name)).keys()) found.push(new URL(url).pathname);
          }
          return found.filter((path) => path !== "/takebook-who");
        }""")

    def offline(self, is_offline=True):
        self.page.context.set_offline(is_offline)
        return self

    def takes_it(self):
        """Touch the button and wait for the page to be loaded anew, by the new version."""
        self.page.evaluate("document.body.dataset.old = ''")
        self.page.get_by_role("button", name="Take it").tap()
        self.page.wait_for_function(FRESH, timeout=30_000)
        return self.is_ready()

    def is_told(self, words):
        expect(self.page.locator("#update p")).to_have_text(words, use_inner_text=True)

    def shows_the_check(self):
        expect(self.page.locator("#check-saved")).to_be_attached()

    def shows_nothing_kept(self):
        expect(self.page.get_by_role("heading", level=1)).to_have_text(NOTHING)


@pytest.fixture
def tablet(open_page, bob):
    """Bob's tablet on the list of flats, its service worker ready."""
    return Tablet(open_page(TABLET, bob, service_workers="allow")).goes("/flats").is_ready()


@pytest.fixture
def new_version(monkeypatch):
    """Let the server serve another version of the worker from now on."""

    def made(words="other words"):
        monkeypatch.setattr(worker, "sources_of", lambda template: {"page": words})

    return made


@pytest.mark.parametrize("path", ["/", "/check", "/F3K7QN0/check", "/takes", "/nowhere"])
def test_without_network_every_address_shows_what_was_taken_along(tablet, path):
    tablet.keeps().offline().goes(path).shows_the_check()
    assert tablet.page.evaluate("location.pathname") == path


def test_the_check_stands_whole_without_network(tablet):
    lost = []
    tablet.keeps().offline()
    tablet.page.on("requestfailed", lambda request: lost.append(request.url))
    tablet.goes("/check").shows_the_check()
    tablet.page.wait_for_load_state("load")
    assert [url for url in lost if "/static/" in url] == []
    assert tablet.page.evaluate("getComputedStyle(document.querySelector('.bar')).display") == "flex"


def test_without_network_and_with_nothing_taken_along_a_page_says_so(tablet):
    tablet.offline().goes("/check").shows_nothing_kept()
    tablet.goes("/F3K7QN0").shows_nothing_kept()
    tablet.offline(False)
    tablet.goes("/flats")
    expect(tablet.page.get_by_role("heading", level=1)).to_have_text("Flats")


def test_trying_again_leads_where_one_was_going(tablet):
    tablet.offline().goes("/flats?state=open").shows_nothing_kept()
    tablet.offline(False)
    tablet.page.get_by_role("link", name="Try again").tap()
    expect(tablet.page.get_by_role("heading", level=1)).to_have_text("Flats")
    assert tablet.page.url.endswith("/flats?state=open")


@pytest.mark.parametrize(
    "path", ["/login", "/login?next=/flats", "/export", "/takes?format=csv", "/api/marks"]
)
def test_some_addresses_are_never_answered_from_what_is_kept(tablet, path):
    tablet.keeps().offline()
    with pytest.raises(Error, match="ERR_INTERNET_DISCONNECTED"):
        tablet.goes(path)


def test_what_reads_labels_goes_along_where_the_browser_has_nothing_for_it(tablet):
    assert tablet.page.evaluate("'BarcodeDetector' in window") is False  # as in Chromium on Linux, on iPadOS
    reader = "caches.match('/static/vendor/zxing-wasm-3.1.4/reader/index.js').then(Boolean)"
    assert tablet.page.evaluate(reader) is False
    tablet.keeps()
    tablet.until(reader)


@pytest.mark.parametrize("headers", [{}, {"HX-Request": "true"}])
def test_what_a_script_asks_for_is_never_answered_from_what_is_kept(tablet, headers):
    tablet.keeps().offline()
    ask = "(headers) => fetch('/check', { headers }).then(() => 'answered', () => 'failed')"
    assert tablet.page.evaluate(ask, headers) == "failed"


def test_a_page_that_leads_to_the_login_is_not_kept(open_page, farm):
    stranger = Tablet(open_page(TABLET, service_workers="allow")).goes("/login").is_ready()
    assert stranger.asks("keep", urls=["/check"]) == {"ok": False, "failed": ["/check"]}
    assert stranger.kept() == []


def test_what_cannot_be_kept_is_named_and_keeps_nothing_else_out(tablet):
    answer = tablet.asks("keep", urls=["/nowhere", "/check", "/api/marks"])
    assert answer == {"ok": False, "failed": ["/nowhere", "/api/marks"]}
    assert tablet.kept() == ["/check"]


def test_logging_out_drops_what_was_kept(tablet):
    tablet.keeps()
    tablet.page.locator(".menu summary").tap()
    tablet.page.get_by_role("button", name="Log out").tap()
    tablet.page.wait_for_url("**/login")
    assert tablet.kept() == []


def test_another_login_drops_what_was_kept_and_the_same_one_does_not(tablet, log_in, bob, alice):
    tablet.keeps()
    log_in(tablet.page, bob)
    tablet.goes("/flats").is_ready().asks("version")
    assert tablet.kept() == ["/check"]
    log_in(tablet.page, alice)
    tablet.goes("/flats").is_ready()
    tablet.until("caches.match('/check').then((page) => !page)")


@pytest.mark.parametrize("status", [502, 503, 504])
def test_a_server_that_is_not_up_counts_as_no_network(tablet, monkeypatch, status):
    monkeypatch.setattr("nursery.views.home.render", lambda *args: HttpResponse("no", status=status))
    tablet.goes("/").shows_nothing_kept()
    tablet.goes("/flats").is_ready().keeps().goes("/").shows_the_check()


def test_an_error_of_the_server_is_shown_as_it_is(tablet, monkeypatch):
    monkeypatch.setattr("nursery.views.home.render", lambda *args: HttpResponse("no", status=500))
    tablet.keeps()
    assert tablet.page.goto("/").status == 500


def test_a_server_that_takes_too_long_counts_as_no_network_where_the_check_can_stand_in(tablet, monkeypatch):
    answers = threading.Event()
    monkeypatch.setattr("nursery.views.home.render", lambda *args: answers.wait(20) and HttpResponse("late"))
    tablet.keeps()
    began = time.monotonic()
    tablet.goes("/").shows_the_check()
    answers.set()
    assert 4 <= time.monotonic() - began < 15


def test_a_new_version_is_told_of_and_taken_with_a_touch(tablet, new_version):
    first = tablet.asks("version")["version"]
    line = tablet.page.locator("#update")
    expect(line).to_be_hidden()
    new_version()
    tablet.goes("/flats")
    tablet.is_told("A new version is ready.")
    tablet.goes("/bench").is_ready()
    expect(line).to_be_visible()  # still only told of
    assert tablet.asks("version")["version"] == first
    tablet.takes_it()
    assert tablet.asks("version")["version"] != first
    expect(line).to_be_hidden()


def test_what_was_taken_along_survives_a_new_version(tablet, new_version):
    tablet.keeps()
    new_version()
    tablet.goes("/flats")
    tablet.takes_it().offline().goes("/check").shows_the_check()
    caches = tablet.page.evaluate("caches.keys()")
    assert len(caches) == 2  # the old version's are gone


def test_what_a_new_version_cannot_fetch_stays_as_it_was(tablet, new_version):
    tablet.keeps()
    tablet.page.context.clear_cookies()  # logged out elsewhere, or the session ran out
    new_version()
    tablet.goes("/login")
    tablet.takes_it()
    assert tablet.kept() == ["/check"]
    tablet.offline().goes("/F3K7QN0/check").shows_the_check()


def test_no_new_version_is_taken_while_a_round_is_open(tablet, new_version):
    line = tablet.page.locator("#update")
    tablet.goes("/check").is_ready()
    tablet.page.evaluate(PUT_META, {"is_open": True})
    new_version()
    tablet.goes("/flats")
    tablet.is_told("A new version waits until this round is finished.")
    expect(line.get_by_role("button")).to_be_hidden()
    tablet.page.evaluate(PUT_META, {"is_open": False})
    tablet.page.evaluate("new BroadcastChannel('takebook').postMessage('round')")
    tablet.is_told("A new version is ready.")
    # A round that another tab opened since is seen at the touch.
    tablet.page.evaluate(PUT_META, {"is_open": True})
    first = tablet.asks("version")
    line.get_by_role("button", name="Take it").tap()
    tablet.is_told("A new version waits until this round is finished.")
    assert tablet.asks("version") == first


@pytest.mark.parametrize("is_open", [True, False])
def test_the_line_of_a_new_version_is_for_everybody(tablet, new_version, is_open):
    tablet.goes("/check").is_ready()
    tablet.page.evaluate(PUT_META, {"is_open": is_open})
    new_version()
    looker = Looker(tablet.page)
    tablet.goes("/flats").page.locator("#update").wait_for()
    looker.look()
    assert looker.faults == []


def test_looking_for_a_round_makes_no_database(tablet, new_version):
    new_version()
    tablet.goes("/flats")
    expect(tablet.page.locator("#update")).to_be_visible()
    assert tablet.page.evaluate("indexedDB.databases()") == []
