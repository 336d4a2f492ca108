"""A flat drawn by the browser from its sheet, on a bare page with the real files, and fingers to touch it."""

import re
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
ADDRESS = "http://takebook.test"
HEADERS = {
    "Content-Security-Policy": "default-src 'self'; img-src 'self' data:",
    "Content-Type": "text/html; charset=utf-8",
}
TYPES = {".css": "text/css", ".js": "text/javascript"}
SHEETS = re.findall(r"css/[\w-]+\.css", (ROOT / "templates" / "_head.html").read_text(encoding="utf-8"))
WORDS = {
    "flatName": "The flat, label corner at the top left",
    "flatTurned": "The flat, label corner at the top right",
    "all": "All",
    "row": "Row {row}",
    "partOfFlat": "Part of the flat",
    "fromTo": "{first} to {last}",
    "wholeFlat": "Whole flat",
    "larger": "Larger",
}
BODY = (
    '<main class="page check"><h1>F3K-7QNX</h1><div id="flat-host"></div>'
    '<p><input aria-label="Reason"> <button data-look="sun" aria-pressed="false">Sunlight</button> '
    '<button data-look="gloves" aria-pressed="false">Gloves</button></p></main>'
    '<div class="actions" role="region" aria-label="What to do"><button>Close check</button></div>'
)
START = """async ([sheet, words]) => {
  const { Drawing } = await import("/static/js/check/draw.js");
  const { useTouch } = await import("/static/js/check/touch.js");
  const { useKeys } = await import("/static/js/check/keys.js");
  const host = document.getElementById("flat-host");
  const drawing = new Drawing(host, words);
  const nameOf = (target) => target.dataset.cell ?? target.dataset.row ?? "all";
  Object.assign(window, { drawing, taps: [], drags: [], keys: [], buzzes: [], shown: 0, isBusy: false });
  navigator.vibrate = (ms) => buzzes.push(ms);
  const label = ([id, button]) => button.setAttribute("aria-label", `${id}, ${button.dataset.state}`);
  drawing.onShown = () => {
    window.shown += 1;
    [...drawing.buttons].forEach(label);
  };
  drawing.show(sheet);
  useTouch(host, {
    onTap(target) {
      taps.push(nameOf(target));
      const { cell, state } = target.dataset;
      if (cell) target.dataset.state = state === "dead" ? "unmarked" : "dead";
    },
    onDrag: (buttons) => drags.push(buttons.map(nameOf)),
    isBusy: () => window.isBusy,
  });
  useKeys({
    drawing,
    onState: (button, state) => keys.push([button.dataset.cell, state]),
    onUndo: () => keys.push("undo"),
    onRedo: () => keys.push("redo"),
    onNext: () => keys.push("next"),
  });
}"""


def sheet_of(rows, columns, **more):
    """A sheet as the server gives it, as far as it is drawn."""
    return {"code": "F3K7QNX", "rows": rows, "columns": columns, "map": "a" * (rows * columns), **more}


def page_html():
    """The bare page."""
    links = "".join(f'<link rel="stylesheet" href="/static/{name}">' for name in SHEETS)
    scripts = (
        '<script src="/static/js/looks-early.js"></script>'
        '<script type="module" src="/static/js/looks.js"></script>'
    )
    view = '<meta name="viewport" content="width=device-width, initial-scale=1">'
    head = f"<head>{view}{scripts}{links}<title>x</title></head>"
    return f"<!doctype html><html lang=en>{head}<body>{BODY}</body></html>"


def answer(route):
    """Serve the real files, and the bare page at any other address."""
    path = route.request.url.removeprefix(ADDRESS)
    if path.startswith("/static/"):
        file = ROOT / path.lstrip("/")
        route.fulfill(body=file.read_bytes(), content_type=TYPES[file.suffix])
    else:
        route.fulfill(body=page_html(), headers=HEADERS)


class DrawnFlat:
    """A drawn flat and the fingers on it. Fingers are numbered; each lies on one spot."""

    def __init__(self, context, sheet):
        self.page = context.new_page()
        self.cdp = context.new_cdp_session(self.page)
        self.down = {}
        self.page.route("**/*", answer)
        self.page.goto(ADDRESS)
        self.sheet = sheet
        self.start()

    def start(self):
        self.page.evaluate(START, [self.sheet, WORDS])

    def cell(self, name):
        return self.page.locator(f'.cell[data-cell="{name}"]')

    def said(self, name):
        """What the page heard: ``taps``, ``drags``, ``keys``, ``buzzes``."""
        return self.page.evaluate(f"window.{name}")

    def middle(self, name):
        box = self.cell(name).bounding_box()
        return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2

    def press(self, spot, *, finger=0, radius=5):
        self._put(spot, finger, radius)
        self._send("touchStart")

    def move(self, spot, *, finger=0, radius=5, steps=1):
        at = self.down[finger]
        x, y = self._spot(spot)
        for step in range(1, steps + 1):
            share = step / steps
            self._put((at["x"] + (x - at["x"]) * share, at["y"] + (y - at["y"]) * share), finger, radius)
            self._send("touchMove")

    def lift(self, *, finger=0):
        del self.down[finger]
        # The protocol's touchEnd lifts all; a finger that is no longer named is lifted by itself.
        self._send("touchMove" if self.down else "touchEnd")

    def cancel(self):
        self.down.clear()
        self.cdp.send("Input.dispatchTouchEvent", {"type": "touchCancel", "touchPoints": []})

    def tap(self, spot, **how):
        self.press(spot, **how)
        self.lift(finger=how.get("finger", 0))

    def wait(self, ms):
        self.page.wait_for_timeout(ms)

    def trace(self, act):
        """Return the work of the renderer during ``act`` and shortly after."""
        events, ends = [], []
        self.cdp.on("Tracing.dataCollected", lambda told: events.extend(told["value"]))
        self.cdp.on("Tracing.tracingComplete", lambda _told: ends.append(True))
        self.cdp.send("Tracing.start", {"categories": "devtools.timeline", "transferMode": "ReportEvents"})
        act()
        self.wait(200)
        self.cdp.send("Tracing.end")
        while not ends:
            self.wait(20)
        return events

    def _spot(self, spot):
        return spot if isinstance(spot, tuple) else self.middle(spot)

    def _put(self, spot, finger, radius):
        x, y = self._spot(spot)
        self.down[finger] = {"x": x, "y": y, "id": finger, "radiusX": radius, "radiusY": radius}

    def _send(self, kind):
        self.cdp.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": list(self.down.values())})
