"""From a tap to the painted cell, in a real browser whose processor is slowed four times.

Ours is the page of a check of 288 cells, the durable write of each mark included; the floor is a bare page of
as many buttons that change their colour. Both are tapped by touch, in turn, and timed by the browser itself
(Event Timing, which counts in steps of 8 ms).
"""

import random
import shutil
from collections.abc import Iterator
from typing import Any

from nursery.management.bench.asking import Asker
from nursery.management.bench.book import make_flats
from nursery.management.bench.figures import Goal, Measured, Row, percentile
from nursery.management.bench.servers import free_port, granian, running

ROWS, COLUMNS = 12, 24
SLOWED = 4
STEP_MS = 8  # of Event Timing, which does not tell of what took less than two steps
BETWEEN_MS = 120
SCREEN = {"viewport": {"width": 1280, "height": 800}, "device_scale_factor": 2, "has_touch": True}
BROWSERS = ("chromium", "chromium-browser", "google-chrome")
WATCH = """
window.taps = {};
new PerformanceObserver((list) => {
  for (const { interactionId, duration } of list.getEntries()) {
    if (interactionId) window.taps[interactionId] = Math.max(window.taps[interactionId] ?? 0, duration);
  }
}).observe({ type: "event", durationThreshold: 16 });
"""
FLOOR = """<!doctype html><html lang="en"><title>Buttons</title><style>
main { display: grid; grid-template-columns: repeat(24, 1fr) }
button { block-size: 50px } [data-state=dead] { background: #7d1535 }
</style><main>%s</main><script>
document.querySelector("main").addEventListener("click", ({ target }) => {
  if (target.dataset.state === "dead") delete target.dataset.state; else target.dataset.state = "dead";
});</script></html>"""


def measure_taps(*, repeats: int, taps: int) -> Iterator[Row]:
    """Yield how much later than a bare button a cell is painted, and the slowest of the taps."""
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        yield Row("tap-288", "from a tap to the painted cell", note="needs playwright and Chromium")
        return
    path = next(filter(None, map(shutil.which, BROWSERS)), None)
    flat, asker, port = make_flats(1, ROWS, COLUMNS)[0], Asker.logged_in(), free_port()
    with running(granian("nursery.served:application", port), port), sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=path, args=["--no-sandbox", "--disable-background-networking"]
        )
        address = f"http://127.0.0.1:{port}"
        ours, floor = [], []
        for repeat in range(repeats):
            floor.append(_tapped(browser, address, asker, None, taps=taps, seed=repeat))
            ours.append(_tapped(browser, address, asker, flat.code, taps=taps, seed=repeat))
        browser.close()
    yield from _rows(ours, floor, taps)


def _rows(ours: list[list[float]], floor: list[list[float]], taps: int) -> Iterator[Row]:
    medians = [[percentile(one, 0.5) for one in side] for side in (ours, floor)]
    note = f"{taps} taps each time; processor slowed {SLOWED} times; steps of {STEP_MS} ms"
    yield Row(
        "tap-288", "from a tap to the painted cell of 288: the median, above a bare page of as many buttons",
        Measured("ms", tuple(mine - least for mine, least in zip(*medians, strict=True))),
        goal=Goal(STEP_MS), note=note,
        more={"ours_p50_ms": medians[0], "floor_p50_ms": medians[1],
              "floor_p98_ms": [percentile(one, 0.98) for one in floor]},
    )  # fmt: skip
    yield Row(
        "tap-288-p98", "from a tap to the painted cell of 288, 98th percentile, durable write included",
        Measured("ms", tuple(percentile(one, 0.98) for one in ours)), goal=Goal(200), note=note,
    )  # fmt: skip


def _tapped(
    browser: Any, address: str, asker: Asker, code: str | None, *, taps: int, seed: int
) -> list[float]:
    """Tap the page of a flat, or the floor; return for each tap how long the browser took to paint it."""
    context = browser.new_context(**SCREEN)
    page = context.new_page()
    if code is None:
        page.set_content(FLOOR % ('<button class="cell" data-cell="1"></button>' * (ROWS * COLUMNS)))
    else:
        cookies = [{"name": name, "value": value, "url": address} for name, value in asker.cookies.items()]
        context.add_cookies(cookies)
        page.goto(f"{address}/{code}/check")
        page.wait_for_selector(".cell[aria-label]")
    page.evaluate(WATCH)
    centres = page.eval_on_selector_all(
        ".cell[data-cell]",
        """(cells) => cells.map((cell) => cell.getBoundingClientRect())
            .filter(({ width, bottom }) => width && bottom < innerHeight - 90)
            .map(({ x, y, width, height }) => [x + width / 2, y + height / 2])""",
    )
    cdp = context.new_cdp_session(page)
    cdp.send("Emulation.setCPUThrottlingRate", {"rate": SLOWED})
    order = random.Random(seed)
    for _tap in range(taps):
        x, y = order.choice(centres)
        touch = {"type": "touchStart", "touchPoints": [{"x": x, "y": y}]}
        cdp.send("Input.dispatchTouchEvent", touch)
        cdp.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
        page.wait_for_timeout(BETWEEN_MS)
    page.wait_for_timeout(500)
    found = list(page.evaluate("Object.values(window.taps)"))
    context.close()
    return [*found, *[float(STEP_MS)] * (taps - len(found))]  # what took less is not told of
