"""A tablet in the tests of faults: a finger on its screen, and an eye on what its database keeps.

What the page showed is noted apart from what the database holds: a cell is busy from its touch until its mark
counts as kept. ``touched`` is how often each cell was touched, ``kept`` how often it was shown as kept.
"""

import contextlib
import os
import signal
import subprocess
import time
import urllib.request
from collections import Counter
from pathlib import Path

from playwright.sync_api import Error

from tests.browser.conftest import CHROMIUM_ARGS, PROGRAM
from tests.browser.faults.farm import CSRF
from tests.commands.server import free_port

INIT = (Path(__file__).parent / "init.js").read_text()
SIZE = {"width": 1024, "height": 768}
DRAIN_S = 40
PARTS = """(store) => new Promise((resolve, reject) => {
  const asked = indexedDB.open("takebook");
  asked.onupgradeneeded = () => asked.transaction.abort();
  asked.onerror = () => resolve([]);
  asked.onsuccess = () => {
    const all = asked.result.transaction(store).objectStore(store).getAll();
    all.onsuccess = () => { asked.result.close(); resolve(all.result); };
    all.onerror = () => reject(all.error);
  };
})"""
TOUCH_MANY = """async ([selectors, waits]) => {
  for (const selector of selectors) document.querySelector(selector)?.click();
  if (!waits) return;
  const busy = () => document.querySelector('.cell[aria-busy="true"]');
  await new Promise((resolve) => setTimeout(resolve, 0));
  for (let n = 0; busy() && n < 1000; n += 1) await new Promise((resolve) => setTimeout(resolve, 5));
}"""
FORGET = """async () => {
  sessionStorage.clear();
  const asked = indexedDB.deleteDatabase("takebook");
  await new Promise((resolve) => { asked.onsuccess = asked.onerror = resolve; });
}"""


class Tablet:
    """One page of one browser; ``context`` is the browser's."""

    def __init__(self, context, farm):
        self.context, self.farm = context, farm
        self.touched, self.kept = Counter(), Counter()
        self.batches = []  # the bodies of the batches that left, newest last
        self.use(context)

    def use(self, context):
        self.context = context
        context.set_default_timeout(15_000)
        context.expose_binding("testHeard", lambda _source, heard: self._heard(heard))
        context.add_init_script(INIT)
        context.on("request", self._sent)
        self.page = context.new_page()

    def _heard(self, heard):
        for what, flat, cell in heard:
            (self.touched if what == "touched" else self.kept)[flat, cell] += 1

    def _sent(self, request):
        if request.method == "POST" and request.url.endswith("/api/marks"):
            self.batches.append(request.post_data_buffer)

    # --- who and where

    def log_in(self, username):
        self.session = self.farm.look("log_in", username=username)
        self.put_session_back()
        return self

    def put_session_back(self):
        """The cookies that a login sets."""
        cookies = {"sessionid": self.session, "csrftoken": CSRF}
        self.context.add_cookies(
            [{"name": name, "value": value, "url": self.farm.url} for name, value in cookies.items()]
        )

    def opens(self, code):
        self.page.goto(f"{self.farm.url}/{code}/check")
        return self.is_drawn()

    def starts_round(self):
        """Take all flats along; the first of them is shown."""
        self.page.goto(f"{self.farm.url}/round")
        for _try in range(3):  # where the server takes long, the service worker shows what it has kept
            if not self.page.locator("#round-start").count():
                self.page.reload()
        assert self.page.locator("#round-start").count(), self.page.locator("body").inner_text()
        self.touches("#round-start")
        self.page.wait_for_url("**/check")
        return self.is_drawn()

    def is_drawn(self):
        self.page.wait_for_selector(".cell[data-cell]")
        self.page.wait_for_function("() => document.getElementById('check-count').textContent !== ''")
        return self

    @property
    def flat(self):
        return self.page.url.rsplit("/", 2)[1]

    def new_tab(self, *, closes=True):
        """Open another tab in the place of this one, or beside it."""
        if closes:
            self.page.close()
        self.page = self.context.new_page()
        return self

    def reload(self):
        self.page.reload()
        return self.is_drawn()

    # --- the finger

    def touches(self, selector):
        """One touch of a finger, as the browser gets it from the screen."""
        spot = self.page.wait_for_selector(selector)
        spot.scroll_into_view_if_needed()
        box = spot.bounding_box()
        point = {"x": box["x"] + box["width"] / 2, "y": box["y"] + box["height"] / 2}
        screen = self.context.new_cdp_session(self.page)
        screen.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": [point]})
        screen.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
        screen.detach()
        return self

    def taps(self, *cells):
        for cell in cells:
            self.touches(f'.cell[data-cell="{cell}"]')
        return self.settles()

    def settles(self):
        """Wait until every cell touched counts as kept."""
        self.page.wait_for_function("() => !document.querySelector('.cell[aria-busy=true]')")
        return self

    def taps_fast(self, *selectors, waits=True):
        """Touches in one moment; without ``waits`` whatever comes next comes before they are kept."""
        self.page.evaluate(TOUCH_MANY, [list(selectors), waits])
        return self

    def next_flat(self):
        before = self.flat
        self.page.wait_for_timeout(750)  # a flat that has just come is not closed by a bounce
        self.touches("#check-close")
        self.page.wait_for_function(f"() => !location.pathname.includes('{before}') || {ROUND_IS_OVER}")
        return self

    # --- what it says and keeps

    def says(self, words, timeout=20_000):
        said = "document.getElementById('check-saved').innerText"
        self.page.wait_for_function(f"(words) => {said}.includes(words)", arg=words, timeout=timeout)
        return self

    def label(self, cell):
        return self.page.locator(f'.cell[data-cell="{cell}"]').get_attribute("aria-label")

    def parts(self, store="parts"):
        return self.page.evaluate(PARTS, store)

    def waiting(self):
        """The marks that wait, in the order they were made."""
        return [one["part"] for one in self.parts() if one["noun"] == "marks" and "waits" in one]

    def waits(self, count):
        marks = self.waiting()
        assert len(marks) == count, f"{len(marks)} marks wait on the tablet, not {count}"
        return self

    @property
    def device(self):
        return next((one["value"] for one in self.parts("meta") if one["key"] == "device"), None)

    @property
    def token(self):
        return next((one["value"] for one in self.parts("meta") if one["key"] == "token"), "")

    def clock(self, *, days):
        self.page.evaluate(f"sessionStorage.setItem('test-clock', '{days * 86_400_000}')")
        return self

    def disk(self, how):
        self.page.evaluate(f"sessionStorage.setItem('test-disk', '{how}')")
        return self

    def hurries(self):
        """Somebody looks at the page: it sends at once."""
        self.page.evaluate("window.dispatchEvent(new Event('focus'))")
        return self

    def drains(self, meanwhile=lambda: None):
        """Wait until nothing waits any more; ``meanwhile`` is done before each look."""
        end = time.monotonic() + DRAIN_S
        while any("waits" in part for part in self.parts()):
            assert time.monotonic() < end, self.why_not()
            meanwhile()
            self.hurries()
            self.page.wait_for_timeout(60)
        return self

    def why_not(self):
        """What waits, and how things stand, where nothing should wait."""
        line = self.page.locator("#check-saved")
        said = line.inner_text() if line.count() else self.page.url
        counts = len(self.waiting()), len(self.parts("refused"))
        return f"{counts} marks still wait, parts were refused: {said!r}, {self.farm.batches[-4:]}"

    def offline(self, is_offline=True):
        self.context.set_offline(is_offline)
        return self

    def forgets_all(self):
        """A tablet that was never used; only its service worker stays."""
        self.context.clear_cookies()  # of another book: the answer to a late request would end the next login
        self.page.goto(f"{self.farm.url}/static/icon.svg")
        self.page.evaluate(FORGET)
        self.touched, self.kept, self.batches = Counter(), Counter(), []
        return self


ROUND_IS_OVER = "document.getElementById('check-flat').hidden"


class OwnBrowser:
    """A browser process with a profile on the disk, which can be killed and started again."""

    def __init__(self, playwright_browser, profile):
        self.connect = playwright_browser.browser_type.connect_over_cdp
        self.profile, self.process, self.browser = profile, None, None

    def start(self):
        port = free_port()
        program = [PROGRAM, "--headless", *CHROMIUM_ARGS, "--window-size=1024,860", "--touch-events=enabled"]
        self.process = subprocess.Popen(
            [*program, f"--user-data-dir={self.profile}", f"--remote-debugging-port={port}", "about:blank"],
            start_new_session=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        self._wait_for(port)
        self.browser = self.connect(f"http://127.0.0.1:{port}")
        return self.browser.contexts[0]

    def _wait_for(self, port):
        for _try in range(600):
            try:
                with urllib.request.urlopen(f"http://127.0.0.1:{port}/json/version", timeout=5):
                    return
            except OSError:
                time.sleep(0.05)
        raise AssertionError("the browser did not start")

    def kill(self):
        """SIGKILL, to the browser and then to what it left behind."""
        os.kill(self.process.pid, signal.SIGKILL)
        self.process.wait()
        with contextlib.suppress(ProcessLookupError):
            os.killpg(self.process.pid, signal.SIGKILL)
        with contextlib.suppress(Error):
            self.browser.close()
        for lock in self.profile.glob("Singleton*"):
            lock.unlink(missing_ok=True)
        self.process = None

    def end(self):
        if self.process:
            self.kill()


def descendants(pid):
    """A process and all that it started."""
    below = subprocess.run(["pgrep", "-P", str(pid)], capture_output=True, text=True).stdout.split()
    return [pid, *(pid for child in below for pid in descendants(int(child)))]
