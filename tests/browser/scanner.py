"""A tablet whose camera is a film, and what its pages fetched and told."""

from playwright.sync_api import expect

from nursery.calc.codes import spoken
from tests.browser.camera import ALLOWED, film_args, write_film

INSECURE_HOST = "farm.test"
# Keeps every stream that the page opened, so that a test can ask how it ended.
KEEP_STREAMS = """
  window.streams = [];
  const devices = navigator.mediaDevices, open = devices.getUserMedia.bind(devices);
  devices.getUserMedia = async (wanted) => {
    window.wanted = wanted;
    const stream = await open(wanted);
    window.streams.push(stream);
    return stream;
  };"""
# A button as another page may have it, and what it told.
EVENT_BUTTON = """() => {
  window.told = [];
  document.addEventListener("scanned", (event) => window.told.push(event.detail));
  document.querySelector("main").insertAdjacentHTML(
    "afterbegin", '<button type="button" data-scan="scanned">Read one</button>');
}"""


class Scanner:
    """A tablet with a camera, on the start page."""

    def __init__(self, page):
        self.page, self.requests, self.faults = page, [], []
        self.dialog = page.locator("#scan-dialog")
        self.said = self.dialog.get_by_role("status")
        page.on("request", lambda request: self.requests.append(request.url))
        page.on("pageerror", lambda error: self.faults.append(str(error)))
        page.on(
            "console",
            lambda line: self.faults.append(line.text) if "Content Security Policy" in line.text else None,
        )

    def start(self, address="/"):
        self.page.goto(address)
        return self

    def scan(self, name="Scan"):
        self.page.get_by_role("button", name=name, exact=True).first.tap()

    def with_event_button(self):
        self.start().page.evaluate(EVENT_BUTTON)
        return self

    def until(self, expression):
        self.page.wait_for_function(f"() => {expression}")

    def reads(self, text):
        expect(self.said).to_contain_text(text)

    def opens(self, flat):
        self.page.wait_for_url(f"**/{flat.code}", timeout=15000)
        expect(self.page.locator("h1")).to_contain_text(spoken(flat.code), use_inner_text=True)

    def fetched(self, part):
        return [url for url in self.requests if part in url]


class Scanners:
    """``scanners(pictures)`` gives a Scanner whose camera shows these again and again: a browser each."""

    def __init__(self, launch, url, log_in, folder):
        self.launch, self.url, self.log_in, self.folder = launch, url, log_in, folder
        self.browsers, self.all = [], []

    def __call__(self, frames=None, *, args=(ALLOWED,), script=KEEP_STREAMS, host=None, **options):
        film = film_args(write_film(self.folder / f"{len(self.all)}.y4m", frames)) if frames else []
        rules = [f"--host-resolver-rules=MAP {host} 127.0.0.1"] if host else []
        self.browsers.append(self.launch([*args, *film, *rules]))
        url = self.url.replace("localhost", host) if host else self.url
        options = {"has_touch": True, "is_mobile": True, **options}
        context = self.browsers[-1].new_context(base_url=url, **options)
        context.set_default_timeout(5000)
        if script:
            context.add_init_script(script)
        self.log_in(context, url)
        self.all.append(Scanner(context.new_page()))
        return self.all[-1]

    @property
    def faults(self):
        return [fault for scanner in self.all for fault in scanner.faults]

    def close(self):
        for browser in self.browsers:
            browser.close()
