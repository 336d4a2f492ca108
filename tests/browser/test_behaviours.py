"""The small behaviours of static/js and the drawing of the flat, on bare pages with the real files."""

import io
import re
from itertools import combinations
from pathlib import Path

import pytest
from PIL import Image, ImageChops, ImageStat

ROOT = Path(__file__).resolve().parent.parent.parent
ADDRESS = "http://takebook.test"
POLICY = "default-src 'self'; img-src 'self' data:"
TYPES = {".css": "text/css", ".js": "text/javascript"}
SHEETS = re.findall(r"css/[\w-]+\.css", (ROOT / "templates" / "_head.html").read_text(encoding="utf-8"))


def page_of(body):
    links = "".join(f'<link rel="stylesheet" href="/static/{name}">' for name in SHEETS)
    script = '<script type="module" src="/static/js/main.js"></script>'
    return (
        f"<!doctype html><html lang=en><head>{links}{script}<title>x</title></head><body>{body}</body></html>"
    )


@pytest.fixture
def show(chromium):
    """Show a body with the real files, under the content policy."""
    contexts = []

    def shown(body, *, width=1024, height=768, **options):
        context = chromium.new_context(viewport={"width": width, "height": height}, **options)
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(5000)

        def answer(route):
            path = route.request.url.removeprefix(ADDRESS)
            if path.startswith("/static/"):
                file = ROOT / path.lstrip("/")
                route.fulfill(body=file.read_bytes(), content_type=TYPES[file.suffix])
            else:
                headers = {"Content-Security-Policy": POLICY, "Content-Type": "text/html; charset=utf-8"}
                route.fulfill(body=page_of(body), headers=headers)

        page.route("**/*", answer)
        page.goto(ADDRESS + "/")
        page.wait_for_load_state("networkidle")
        return page

    yield shown
    for context in contexts:
        context.close()


def flat_of(rows, columns, **states):
    """A flat as HTML; states by place, as ``p3="dead"``."""
    parts = [
        f'<div class="flat" id="flat" data-rows="{rows}" data-columns="{columns}"><div class="flat-grid">'
    ]
    parts += [f'<span class="flat-col">{number}</span>' for number in range(1, columns + 1)]
    for row in range(rows):
        parts.append(f'<span class="flat-row">{chr(65 + row)}</span>')
        for place in range(row * columns + 1, (row + 1) * columns + 1):
            state = states.get(f"p{place}", "firm")
            parts.append(
                f'<button type="button" class="cell" data-place="{place}" data-state="{state}"></button>'
            )
    return '<main class="page">' + "".join(parts) + "</div></div></main>"


def test_a_form_is_sent_once_however_often_it_is_tapped(show):
    # A field named "method" hides form.method, as in the form of a run.
    page = show('<form method="post" action="/go"><input name="method"><button>Go</button></form>')
    sent = page.evaluate(
        """() => {
          let sent = 0;
          addEventListener("submit", (event) => { sent += 1; event.preventDefault(); });
          for (const tap of [1, 2, 3]) document.querySelector("button").click();
          return sent;
        }"""
    )
    assert sent == 1


def test_dialog_opens_and_closes(show):
    page = show(
        '<button data-opens="d">Open</button><dialog id="d"><button data-closes>Close</button></dialog>'
    )
    page.click("[data-opens]")
    assert page.is_visible("#d")
    page.click("[data-closes]")
    assert not page.is_visible("#d")


def test_menu_closes_by_a_tap_elsewhere(show):
    page = show('<details class="menu"><summary>Menu</summary><p>Inside</p></details><h1>Elsewhere</h1>')
    page.click("summary")
    assert page.is_visible("text=Inside")
    page.click("h1")
    assert not page.is_visible("text=Inside")


# 24 and 44 CSS px: what the design asks of a cell; sizes at which flats stand on a bench.
@pytest.mark.parametrize(("rows", "columns", "least"), [(5, 10, 44), (6, 12, 44), (10, 20, 44), (12, 24, 24)])
@pytest.mark.parametrize(("width", "height"), [(1024, 768), (768, 1024), (360, 780)])
def test_cells_are_large_enough_and_touch_each_other(show, rows, columns, least, width, height):
    page = show(flat_of(rows, columns), width=width, height=height)
    first, second = (page.locator(".cell").nth(number).bounding_box() for number in (0, 1))
    assert first["width"] >= least
    assert first["height"] == pytest.approx(first["width"], abs=0.5)
    assert second["x"] == pytest.approx(first["x"] + first["width"], abs=0.5)
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_a_fine_flat_can_be_zoomed_to_full_targets(show):
    page = show('<button data-zooms="flat" aria-pressed="false">Larger</button>' + flat_of(12, 24), width=360)
    page.click("[data-zooms]")
    assert page.locator(".cell").first.bounding_box()["width"] >= 44
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


@pytest.mark.parametrize("forced", ["none", "active"])
def test_states_look_different_without_colour(show, forced):
    page = show(flat_of(1, 6), forced_colors=forced)
    cell = page.locator(".cell").first

    def grey(state, before=""):
        cell.evaluate(
            "(cell, [state, before]) => Object.assign(cell.dataset, {state, before})", [state, before]
        )
        return Image.open(io.BytesIO(cell.screenshot())).convert("L")

    def difference(one, other):
        return ImageStat.Stat(ImageChops.difference(one, other)).mean[0]

    names = [("firm", ""), ("wilting", ""), ("dead", ""), ("dead", "dead"), ("gone", ""), ("blank", "")]
    pictures = [grey(*name) for name in names]
    # Mean steps of 255 over the cell: a state drawn again differs by nothing worth seeing, the four
    # states of a check from each other by much, the two without a plant by enough.
    assert all(difference(grey(*name), known) < 0.5 for name, known in zip(names, pictures, strict=True))
    assert all(difference(one, other) > 15 for one, other in combinations(pictures[:4], 2))
    assert all(difference(one, other) > 4 for one, other in combinations(pictures, 2))


def test_the_sign_is_drawn_inside_the_cell(show):
    page = show(flat_of(1, 6, p3="dead"))
    size = (
        "number => parseFloat(getComputedStyle(document.querySelectorAll('.cell')[number], '::before').width)"
    )
    assert page.evaluate(size, 0) > 10
    assert page.evaluate(size, 2) > 20
