"""The looks for the greenhouse: black on white for sunlight, larger targets for gloves."""

import io
from itertools import combinations

import pytest
from axe_playwright_python.sync_playwright import Axe
from PIL import Image, ImageChops, ImageStat
from playwright.sync_api import expect

from tests.browser.conftest import PHONE, TABLET
from tests.browser.drawn import sheet_of
from tests.test_look import EDGE_PAIRS, TEXT_PAIRS, contrast

STATES = [
    ("unmarked", ""),
    ("wilting", ""),
    ("dead", ""),
    ("dead", "dead"),
    ("wilting", "wilting"),
    ("gone", ""),
]


def hex_of(flat, token):
    """What a colour comes to on the page, as #rrggbb."""
    return flat.page.evaluate(
        """(token) => {
          const pen = document.createElement("canvas").getContext("2d");
          const box = document.body.appendChild(document.createElement("i"));
          box.style.color = `var(--${token})`;
          pen.fillStyle = getComputedStyle(box).color;
          pen.fillRect(0, 0, 1, 1);
          box.remove();
          const [red, green, blue] = pen.getImageData(0, 0, 1, 1).data;
          return "#" + [red, green, blue].map((part) => part.toString(16).padStart(2, "0")).join("");
        }""",
        token,
    )


@pytest.fixture(params=["light", "dark"])
def sunny(draw, request):
    """A flat in the look for sunlight, on a tablet of either scheme."""
    flat = draw(TABLET, sheet_of(6, 12), color_scheme=request.param)
    flat.page.get_by_role("button", name="Sunlight").tap()
    return flat


def test_in_sunlight_all_is_dark_on_white_in_either_scheme(sunny):
    assert hex_of(sunny, "paper") == "#ffffff"
    assert all(contrast(hex_of(sunny, text), hex_of(sunny, ground)) >= 10 for text, ground in TEXT_PAIRS)
    assert all(contrast(hex_of(sunny, edge), hex_of(sunny, ground)) >= 10 for edge, ground in EDGE_PAIRS)
    assert contrast(hex_of(sunny, "cell-line"), hex_of(sunny, "leaf-wash")) >= 10


def grey(flat, state, before):
    """A cell of that state in greyscale."""
    cell = flat.cell("14")
    cell.evaluate(
        "(cell, [state, before]) => Object.assign(cell.dataset, { state, before })", [state, before]
    )
    return Image.open(io.BytesIO(cell.screenshot())).convert("L")


def difference(one, other):
    """Mean steps of 255 by which two pictures differ."""
    return ImageStat.Stat(ImageChops.difference(one, other)).mean[0]


def test_in_sunlight_the_states_differ_without_colour(sunny):
    pictures = [grey(sunny, *state) for state in STATES]
    assert difference(grey(sunny, *STATES[0]), pictures[0]) < 0.5
    assert all(difference(one, other) > 15 for one, other in combinations(pictures[:4], 2))
    assert all(difference(one, other) > 4 for one, other in combinations(pictures, 2))


def test_in_sunlight_what_died_before_is_hatched_beside_its_sign(sunny):
    def stripes(before):
        picture = grey(sunny, "dead", before)
        side = picture.width
        edge = picture.crop((round(side * 0.07), round(side * 0.25), round(side * 0.15), round(side * 0.75)))
        return ImageStat.Stat(edge).stddev[0]

    assert stripes("") < 5
    assert stripes("dead") > 50


def test_signs_are_larger_in_sunlight(draw):
    flat = draw(TABLET, sheet_of(6, 12))
    size = "parseFloat(getComputedStyle(document.querySelector('.cell'), '::before').width)"
    usual = flat.page.evaluate(size)
    flat.page.get_by_role("button", name="Sunlight").tap()
    assert flat.page.evaluate(size) > 1.25 * usual


@pytest.mark.parametrize("look", ["usual", "sun"])
def test_a_cell_not_yet_kept_shows_it_without_moving_anything(draw, look):
    flat = draw(TABLET, sheet_of(6, 12))
    if look == "sun":
        flat.page.get_by_role("button", name="Sunlight").tap()
    kept = grey(flat, "dead", "")
    box = flat.cell("14").bounding_box()
    flat.cell("14").evaluate("(cell) => cell.setAttribute('aria-busy', 'true')")
    assert 1 < difference(grey(flat, "dead", ""), kept) < 30
    assert flat.cell("14").bounding_box() == box


def test_a_look_is_remembered_and_put_on_before_anything_is_drawn(draw):
    flat = draw(TABLET, sheet_of(6, 12))
    for look in ("Sunlight", "Gloves"):
        flat.page.get_by_role("button", name=look).tap()
    flat.page.add_init_script("""
      new MutationObserver((_, watch) => {
        if (!document.body) return;
        window.atFirst = { ...document.documentElement.dataset };
        watch.disconnect();
      }).observe(document, { childList: true, subtree: true });
    """)
    flat.page.reload()
    assert flat.page.evaluate("window.atFirst") == {"contrast": "high", "gloves": ""}
    sun = flat.page.get_by_role("button", name="Sunlight")
    expect(sun).to_have_attribute("aria-pressed", "true")
    sun.tap()
    expect(sun).to_have_attribute("aria-pressed", "false")
    flat.page.reload()
    assert flat.page.evaluate("window.atFirst") == {"gloves": ""}


def test_a_look_chosen_in_another_tab_is_taken_over(draw):
    flat = draw(TABLET, sheet_of(6, 12))
    other = flat.page.context.new_page()
    other.route("**/*", lambda route: route.fulfill(body="<p>", content_type="text/html"))
    other.goto(flat.page.url)
    other.evaluate("localStorage.setItem('takebook.look.gloves', 'on')")
    expect(flat.page.locator("html")).to_have_attribute("data-gloves", "")


def test_gloves_make_cells_and_buttons_64_px(draw):
    flat = draw(PHONE, sheet_of(6, 12))
    flat.page.get_by_role("button", name="Gloves").tap()
    boxes = [
        flat.cell("1").bounding_box(),
        flat.page.get_by_role("button", name="Close check").bounding_box(),
    ]
    assert [box["height"] for box in boxes if box["height"] < 64] == []
    assert flat.page.get_by_role("button", name="A to C").bounding_box()["height"] >= 64


@pytest.mark.parametrize("size", [TABLET, PHONE], ids=["tablet", "phone"])
@pytest.mark.parametrize("looks", [[], ["Sunlight"], ["Gloves"], ["Sunlight", "Gloves"]], ids="-".join)
def test_axe_finds_nothing(draw, size, looks):
    flat = draw(size, sheet_of(12, 24, map="aaaadwgf-." * 28 + "a" * 8))
    for look in looks:
        flat.page.get_by_role("button", name=look).tap()
    found = Axe().run(flat.page).response["violations"]
    flat.page.get_by_role("button", name="Whole flat").tap() if "Gloves" not in looks else None
    found += Axe().run(flat.page).response["violations"]
    assert [(one["id"], one["nodes"][0]["html"][:120]) for one in found] == []
