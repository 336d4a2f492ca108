"""How a flat lies on a screen: which way round, in how many parts, and with what size of cells."""

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import PHONE, TABLET
from tests.browser.drawn import sheet_of

UPRIGHT = {"width": 768, "height": 1024}
FINGER, GLOVES, OVERVIEW = 44, 64, 24
SIZES = [(6, 12), (7, 15), (10, 20), (12, 24), (15, 7), (8, 8), (26, 40)]
WORDS = {"gloves": "Gloves", "whole": "Whole flat", "larger": "Larger"}


def press(flat, name):
    flat.page.get_by_role("button", name=WORDS[name], exact=True).tap()


def shown(flat):
    """Rows and columns that are to be seen, and the sides of the smallest cell."""
    return flat.page.evaluate(
        """() => {
          const seen = [...document.querySelectorAll(".flat .cell")].filter((cell) => !cell.hidden);
          const boxes = seen.map((cell) => cell.getBoundingClientRect());
          const heads = (name) => [...document.querySelectorAll(name)].filter((one) => !one.hidden);
          return {
            rows: heads(".flat-row").map((head) => head.textContent).join(""),
            columns: heads(".flat-col").map((head) => Number(head.textContent)),
            count: seen.length,
            width: Math.min(...boxes.map((box) => box.width)),
            height: Math.min(...boxes.map((box) => box.height)),
            left: Math.min(...boxes.map((box) => box.left)),
            right: Math.max(...boxes.map((box) => box.right)),
          };
        }"""
    )


def never_sideways(flat):
    return flat.page.evaluate("document.documentElement.scrollWidth <= innerWidth")


@pytest.mark.parametrize("gloves", [False, True])
@pytest.mark.parametrize("size", [PHONE, TABLET, UPRIGHT], ids=["phone", "tablet", "upright"])
@pytest.mark.parametrize(("rows", "columns"), SIZES)
def test_cells_are_as_large_as_a_finger_in_every_part_and_the_page_never_scrolls_sideways(
    draw, rows, columns, size, gloves
):
    flat = draw(size, sheet_of(rows, columns))
    if gloves:
        press(flat, "gloves")
    tabs = flat.page.locator(".flat-parts [data-part]")
    seen = 0
    for number in range(max(1, tabs.count())):
        if number:
            tabs.nth(number).tap()
        part = shown(flat)
        least = GLOVES if gloves else FINGER
        assert min(part["width"], part["height"]) >= least - 0.01
        assert part["left"] >= 0
        assert part["right"] <= size["width"]
        assert part["count"] == len(part["rows"]) * len(part["columns"])
        assert never_sideways(flat)
        seen += part["count"]
    assert seen == rows * columns


# What must fit whole: 105 cells on a phone, 200 on a tablet either way.
@pytest.mark.parametrize(
    ("rows", "columns", "size"),
    [(6, 12, PHONE), (7, 15, PHONE), (5, 10, PHONE), (10, 20, TABLET), (10, 20, UPRIGHT), (12, 24, UPRIGHT)],
)
def test_a_flat_that_fits_is_shown_whole(draw, rows, columns, size):
    flat = draw(size, sheet_of(rows, columns))
    assert shown(flat)["count"] == rows * columns
    expect(flat.page.locator(".flat-parts")).to_be_hidden()


def test_the_long_side_lies_along_the_screen_and_turning_it_keeps_every_button(draw):
    flat = draw(TABLET, sheet_of(6, 12))
    flat.cell("14").focus()
    flat.page.evaluate("window.before = [...drawing.buttons.values()]")
    assert box_order(flat) == "A1 above B1, A1 left of A2"
    flat.page.set_viewport_size(UPRIGHT)
    expect(flat.page.locator(".flat")).to_have_attribute("data-turned", "")
    # Clockwise: the first column lies at the top, row A at the right.
    assert box_order(flat) == "A1 right of B1, A1 above A2"
    group = flat.page.get_by_role("group", name="The flat, label corner at the top right")
    expect(group).to_be_visible()
    assert flat.page.evaluate("before.every((one, at) => one === [...drawing.buttons.values()][at])")
    expect(flat.cell("14")).to_be_focused()
    assert flat.page.evaluate("drawing.isTurned")


def box_order(flat):
    """Where B1 and A2 lie, seen from A1."""
    first, below, beside = (flat.cell(name).bounding_box() for name in ("1", "13", "2"))

    def side(one, other, name):
        if abs(one["x"] - other["x"]) < 1:
            return f"A1 {'above' if one['y'] < other['y'] else 'below'} {name}"
        return f"A1 {'left' if one['x'] < other['x'] else 'right'} of {name}"

    return f"{side(first, below, 'B1')}, {side(first, beside, 'A2')}"


def test_a_turned_flat_is_read_in_the_same_order_with_heads_at_its_lines(draw):
    flat = draw(PHONE, sheet_of(6, 12))
    read = flat.page.evaluate(
        "[...document.querySelectorAll('.flat .cell')].map((cell) => cell.dataset.cell)"
    )
    assert read == [str(place) for place in range(1, 73)]
    for row, first in (("A", "1"), ("F", "61")):
        head = flat.page.get_by_role("button", name=f"Row {row}").bounding_box()
        cell = flat.cell(first).bounding_box()
        assert head["x"] == pytest.approx(cell["x"], abs=0.5)
        assert head["y"] + head["height"] <= cell["y"] + 0.5
        assert min(head["width"], head["height"]) >= FINGER
    number = flat.page.locator(".flat-col", has_text="12").bounding_box()
    last = flat.cell("72").bounding_box()
    assert number["y"] == pytest.approx(last["y"], abs=0.5)
    assert number["x"] < last["x"]


@pytest.mark.parametrize(
    ("size", "names"),
    [(PHONE, ["A to F", "G to L"]), (TABLET, ["1 to 12", "13 to 24"])],
    ids=["phone", "tablet"],
)
def test_parts_follow_the_rows_and_say_which_they_are(draw, size, names):
    flat = draw(size, sheet_of(12, 24))
    tabs = flat.page.get_by_role("group", name="Part of the flat").get_by_role("button")
    expect(tabs).to_have_text(names)
    assert [tab.get_attribute("aria-pressed") for tab in tabs.all()] == ["true", "false"]
    assert all(tab.bounding_box()["height"] >= FINGER for tab in tabs.all())
    tabs.nth(1).tap()
    assert [tab.get_attribute("aria-pressed") for tab in tabs.all()] == ["false", "true"]
    part = shown(flat)
    expected = ("GHIJKL", 24) if size == PHONE else ("ABCDEFGHIJKL", 12)
    assert (part["rows"], len(part["columns"])) == expected
    # Tab reaches a cell that is to be seen.
    expect(flat.page.locator('.cell[tabindex="0"]')).to_be_visible()


def test_the_whole_flat_is_an_overview_that_takes_taps(draw):
    flat = draw(PHONE, sheet_of(12, 24))
    press(flat, "whole")
    part = shown(flat)
    assert part["count"] == 288
    assert OVERVIEW <= min(part["width"], part["height"]) < FINGER
    assert never_sideways(flat)
    flat.tap("200")
    assert flat.said("taps") == ["200"]
    press(flat, "larger")  # goes back to the part where the finger was
    assert shown(flat)["rows"] == "GHIJKL"
    expect(flat.cell("200")).to_be_visible()


def test_no_overview_is_offered_where_its_cells_could_not_be_hit(draw):
    flat = draw(PHONE, sheet_of(26, 40))
    expect(flat.page.locator(".flat-parts [data-part]")).to_have_count(4)
    expect(flat.page.get_by_role("button", name="Whole flat")).to_be_hidden()


def test_reveal_and_the_arrows_go_to_the_part_with_the_cell(draw):
    flat = draw(PHONE, sheet_of(12, 24))
    shown_before = flat.said("shown")
    flat.page.evaluate("drawing.reveal('288')")
    expect(flat.cell("288")).to_be_visible()
    expect(flat.cell("1")).to_be_hidden()
    assert flat.said("shown") == shown_before + 1
    flat.cell("145").focus()  # G1
    flat.page.keyboard.press("ArrowRight")  # turned: the row before
    expect(flat.cell("121")).to_be_focused()
    expect(flat.cell("288")).to_be_hidden()


def test_the_next_flat_begins_with_its_first_part(draw):
    flat = draw(PHONE, sheet_of(12, 24))
    press(flat, "whole")
    flat.page.evaluate("(sheet) => drawing.show(sheet)", sheet_of(12, 24) | {"code": "F3K7QNY"})
    expect(flat.cell("1")).to_be_visible()
    assert shown(flat)["rows"] == "ABCDEF"


def test_the_same_flat_again_keeps_its_buttons_and_takes_new_states(draw):
    flat = draw(TABLET, sheet_of(2, 3, map="aaaaa-"))
    flat.cell("2").focus()
    flat.page.evaluate("(sheet) => drawing.show(sheet)", sheet_of(2, 3, map="adwga-"))
    expect(flat.cell("2")).to_be_focused()
    states = flat.page.locator(".cell").evaluate_all("(all) => all.map((cell) => cell.dataset.state)")
    assert states == ["unmarked", "dead", "wilting", "gone", "unmarked", "blank"]


def test_a_plant_taken_off_meanwhile_leaves_the_part_that_is_looked_at(draw):
    flat = draw(PHONE, sheet_of(12, 24))
    flat.page.get_by_role("button", name="G to L").tap()
    flat.page.evaluate("(sheet) => drawing.show(sheet)", sheet_of(12, 24, map="a" * 287 + "-"))
    assert shown(flat)["rows"] == "GHIJKL"
    expect(flat.cell("288")).to_have_count(0)


def test_cells_bear_what_the_sheet_says_of_them(draw):
    sheet = sheet_of(2, 4, map="af.-wdga", grafts={"5": 2}, runs="11  2a  ")
    flat = draw(TABLET, sheet)
    said = flat.page.locator(".flat .cell").evaluate_all(
        "(all) => all.map(({ tagName, dataset: { cell, state, run } }) => [tagName, cell, state, run])"
    )
    assert said == [
        ["BUTTON", "1", "unmarked", "1"],
        ["BUTTON", "2", "firm", "1"],
        ["SPAN", None, "unused", None],
        ["SPAN", None, "blank", None],
        ["BUTTON", "5.2", "wilting", "2"],
        ["BUTTON", "6", "dead", "2"],  # the tenth run has the second sign again
        ["BUTTON", "7", "gone", None],
        ["BUTTON", "8", "unmarked", None],
    ]
    assert flat.page.evaluate("[...drawing.buttons.keys()]") == ["1", "2", "5.2", "6", "7", "8"]


@pytest.mark.parametrize(
    ("asked", "turned", "parts", "head"),
    [
        # Room for cells: width less 8 for the rim, less the head (44, or 28 where that saves a part).
        ((7, 15, 360, 780, 44), True, [(1, 7)], 44),
        ((7, 15, 345, 780, 44), True, [(1, 7)], 28),
        ((7, 15, 343, 780, 44), True, [(1, 4), (5, 7)], 44),
        ((15, 7, 360, 780, 44), False, [(1, 7)], 44),
        ((10, 20, 984, 768, 44), False, [(1, 20)], 44),
        ((12, 24, 984, 768, 44), False, [(1, 12), (13, 24)], 44),
        ((12, 24, 360, 780, 64), True, [(1, 4), (5, 8), (9, 12)], 64),
        ((26, 40, 360, 780, 44), True, [(1, 7), (8, 14), (15, 20), (21, 26)], 44),
        ((8, 8, 360, 780, 44), False, [(1, 4), (5, 8)], 44),
        ((2, 3, 10, 780, 44), True, [(1, 1), (2, 2)], 44),
    ],
)
def test_fit(draw, asked, turned, parts, head):
    names = ("rows", "columns", "width", "height", "least")
    fitted = draw(TABLET, sheet_of(1, 1)).page.evaluate(
        "async (asked) => (await import('/static/js/check/windows.js')).fit(asked)",
        dict(zip(names, asked, strict=True)),
    )
    bounds = [{"first": first, "last": last} for first, last in parts]
    assert fitted == {"turned": turned, "parts": bounds, "head": head}
