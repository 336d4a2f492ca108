"""Plants leave, move together and are grafted again, by touch. Every touch is counted."""

import pytest

from nursery.models import Cell, Flat, Leaving, Run
from tests.browser.conftest import PHONE, TABLET
from tests.browser.looker import Looker
from tests.browser.test_bench import Finger
from tests.factories import make_flat
from tests.views.checking import check_flat
from tests.views.plants import alive, leave_by_number, leave_now, planted

SIZES = pytest.mark.parametrize("size", [TABLET, PHONE], ids=["tablet", "phone"])


@pytest.fixture
def flat(farm, transactional_db):
    return planted()


def open_leave(page, flat):
    page.goto(f"/{flat.code}/leave")
    return Finger(page)


def pressed(page):
    return page.locator('.cell[aria-pressed="true"]').count()


@SIZES
def test_sixty_plants_leave_in_four_touches(open_page, bob, flat, size):
    """Pencil and paper: "60 sold, bed 4, 12 March" are 22 strokes, and 60 more to cross the cells out."""
    page = open_page(size, bob)
    finger = open_leave(page, flat)
    finger.tap("All that live (72)")
    finger.tap("Row F")
    assert pressed(page) == 60
    finger.tap("Sold", role="radio")
    finger.tap("Let 60 leave")
    page.get_by_text("60 left, sold. 12 live here.").wait_for()
    first = finger.since()
    assert alive(flat) == 12

    leave_now(planted(pairing=flat.runs.get().pairing), [1], destination="bed 4")
    other = planted(pairing=flat.runs.get().pairing)
    finger = open_leave(page, other)
    finger.tap("All that live (72)")
    finger.tap("Row F")
    finger.tap("Sold, bed 4")
    finger.tap("Let 60 leave")
    page.get_by_text("60 left for bed 4, sold. 12 live here.").wait_for()
    again = finger.since()
    finger.tap("Undo")
    page.get_by_text("stand in").wait_for()
    undone = finger.since()
    assert alive(other) == 72

    page.goto(f"/{other.code}/leave?by=number")
    page.get_by_label("Amber Lantern on Stonefoot").fill("60")
    finger.touches += 3  # the field and two digits
    finger.tap("Sold, bed 4")
    finger.tap("Let 60 leave")
    page.get_by_text("12 live here.").wait_for()
    print(
        f"\nTouches at {size['width']} x {size['height']}, 60 plants leaving: {first}; "
        f"with a destination of before {again}; by number {finger.since()}; undo {undone}"
    )
    assert (first, again, undone) == (4, 4, 1)


def test_what_is_typed_shows_and_what_is_tapped_is_written(open_page, bob, flat):
    page = open_page(TABLET, bob)
    finger = open_leave(page, flat)
    page.get_by_text("Type the places").tap()
    page.locator("#id_places").fill("a1-b2 F")
    assert pressed(page) == 14 + 12
    finger.tap_place(1)
    assert page.locator("#id_places").input_value() == "A2-B2 F1-F12"
    assert page.locator(".button-main").inner_text() == "Let 25 leave"
    finger.tap("Row F")
    finger.tap("Row F")
    page.locator("[data-all]").tap()
    assert pressed(page) == 72
    page.locator("[data-all]").tap()
    assert page.locator(".button-main").inner_text() == "Let them leave"


def test_works_without_a_script(open_page, bob, flat):
    page = open_page(TABLET, bob, java_script_enabled=False)
    page.goto(f"/{flat.code}/leave")
    page.get_by_text("Type the places").tap()
    page.locator("#id_places").fill("A-E")
    page.get_by_role("radio", name="Planted").check()
    page.locator(".button-main").tap()
    page.get_by_text("60 left, planted. 12 live here.").wait_for()
    page.goto(f"/{flat.code}/leave")
    page.get_by_text("Type the places").tap()
    page.get_by_label("All that live").check()
    page.get_by_role("radio", name="Sold").check()
    page.locator(".button-main").tap()
    page.get_by_text("Nothing lives here any more").wait_for()


def test_a_flat_of_288_leaves_row_by_row(open_page, bob, farm, transactional_db):
    wide = planted(flat=make_flat(12, 24), places=range(1, 289))
    page = open_page(PHONE, bob)
    finger = open_leave(page, wide)
    finger.tap("Larger cells")
    finger.tap("Row L")
    assert pressed(page) == 24
    finger.tap("Sold", role="radio")
    finger.tap("Let 24 leave")
    page.get_by_text("264 live here.").wait_for()
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


@SIZES
def test_dead_plants_are_grafted_again_in_one_touch(open_page, bob, flat, size):
    check_flat(flat, dict.fromkeys([3, 9, 40, 41, 72], "dead"), days_ago=1)
    page = open_page(size, bob)
    page.goto(f"/{flat.code}/regraft")
    finger = Finger(page)
    assert pressed(page) == 5
    finger.tap("5 grafted again")
    page.get_by_text("5 grafted again on").first.wait_for()
    print(f"\nTouches at {size['width']} x {size['height']}, 5 grafted again: {finger.touches}")
    assert (finger.touches, Run.objects.get(is_regraft=True).cells.count()) == (1, 5)


@SIZES
def test_patchy_flats_become_full_ones(open_page, bob, farm, transactional_db, size):
    pairing = planted(places=range(1, 61)).runs.get().pairing
    flats = [Flat.objects.get(), *(planted(places=range(1, n), pairing=pairing) for n in (9, 5))]
    page = open_page(size, bob)
    page.goto(f"/{flats[0].code}/put-together")
    finger = Finger(page)
    for box in page.get_by_role("checkbox").all():
        box.tap()
        finger.touches += 1
    finger.tap("Show what would move")
    finger.tap("Put them together")
    page.get_by_text("12 plants moved").wait_for()
    print(f"\nTouches at {size['width']} x {size['height']}, three flats become one: {finger.touches}")
    assert (finger.touches, Cell.objects.filter(moved_from__isnull=False).count()) == (4, 12)
    finger.tap("Undo")
    page.get_by_text("Taken back: all stand where they stood.").wait_for()


def test_a_plant_moves_to_a_flat_with_room(open_page, bob, flat):
    target = planted(pairing=flat.runs.get().pairing, places=range(1, 60))
    page = open_page(TABLET, bob)
    page.goto(f"/{flat.code}/move-together")
    finger = Finger(page)
    finger.tap("All that live (72)")
    finger.tap("Row A")
    finger.tap("13 free")
    finger.tap("Show where 12 go")
    page.get_by_role("heading", name="12 plants move").wait_for()
    assert page.locator('.cell[data-moves="in"]').count() == 12
    finger.tap("Move these 12")
    page.get_by_text("12 moved to").first.wait_for()
    print(f"\nTouches, a row moved to another flat: {finger.touches}")
    assert (alive(flat), alive(target), finger.touches) == (60, 71, 5)


def test_axe_finds_nothing_in_any_state(open_page, alice, flat):
    pairing = flat.runs.get().pairing
    check_flat(flat, {1: "dead", 2: "wilting"}, days_ago=1)
    leave_now(flat, [3, 4], destination="bed 4")
    leaving = leave_by_number(flat, 4)
    other = planted(pairing=pairing, places=range(1, 20))
    looker = Looker(open_page(TABLET, alice))
    move = f"/{other.code}/move-together?how=cells&places=A&to="
    shape = f"&tray_format={flat.tray_format.key}&layout={flat.layout.key}"
    for address in (
        f"/{flat.code}?left={leaving.uuid}",
        f"/{flat.code}/leave",
        f"/{flat.code}/leave?by=number",
        f"/{flat.code}/leave/{leaving.uuid}/which",
        f"/{flat.code}/discard",
        f"/{flat.code}/regraft",
        f"/{other.code}/move-together",
        f"{move}existing&code={flat.code}{shape}",
        f"{move}new{shape}",
        f"{move}pool{shape}",
        f"/{other.code}/put-together",
        f"/put-together?flat={flat.code}&flat={other.code}",
        f"/leave?flat={flat.code}&flat={other.code}",
        "/flats",
    ):
        looker.open(address)
    page = looker.page
    page.goto(f"{move}pool{shape}")
    page.set_viewport_size(TABLET)
    page.get_by_role("button", name="Move these 12").tap()
    page.get_by_text("12 moved to").first.wait_for()
    looker.look()
    pool = Leaving.objects.exclude(to_flat=None).get().to_flat
    looker.open(f"/{pool.code}")
    looker.open(f"/{pool.code}/leave")
    for address, form in (
        ("leave", "#leave-form"),
        ("discard", "#discard-form"),
        ("regraft", "#regraft-form"),
    ):
        page.goto(f"/{flat.code}/{address}")
        page.set_viewport_size(TABLET)
        if address == "regraft":
            page.locator('.cell[aria-pressed="true"]').first.tap()
        with page.expect_navigation():
            page.evaluate(
                "(form) => HTMLFormElement.prototype.submit.call(document.querySelector(form))", form
            )
        looker.look()
    assert not looker.faults, "\n".join(map(str, looker.faults))
