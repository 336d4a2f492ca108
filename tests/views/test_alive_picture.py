"""How many lived, check by check, as a small picture on the flat's page."""

import re
from datetime import date, timedelta
from itertools import pairwise

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from nursery.views.alive_picture import BOTTOM, LEFT, RIGHT, TOP, WIDTH, alive_picture
from nursery.views.flat_story import DayLine, Part
from tests.factories import make_flat, make_run
from tests.views.checking import check_flat


def day(age, alive=72, *, wilting=0, seen=None, dead=None, gone=0, **said):
    dead = 72 - alive - gone if dead is None else dead
    said = {"is_record": False, "is_closed": True, "is_by_numbers": False, "parts": [], **said}
    return DayLine(
        day=date(2026, 3, 2) + timedelta(days=age or 0), age=age, grafted=72,
        seen=72 if seen is None else seen, alive=alive, wilting=wilting, dead=dead, gone=gone, **said,
    )  # fmt: skip


def drawn(*days):
    """Draw days given the oldest first, as somebody would tell them."""
    return str(alive_picture(days[::-1]).drawing)


def circles(svg):
    return re.findall(r'<circle class="([^"]+)" cx="([\d.]+)" cy="([\d.]+)"', svg)


def texts(svg):
    return re.findall(r"<text[^>]*>([^<]+)</text>", svg)


def test_days_go_across_and_plants_up_to_all_grafted():
    svg = drawn(day(7, 72), day(14, 36))
    middle = (LEFT + RIGHT) / 2
    assert circles(svg) == [
        ("alive-dot", str(middle), f"{TOP:.1f}"),
        ("alive-dot", f"{RIGHT:.1f}", str((TOP + BOTTOM) / 2)),
    ]
    # The line begins with all plants on the day of grafting.
    assert f'points="{LEFT:.1f},{TOP:.1f} {middle},{TOP:.1f} {RIGHT:.1f},' in svg
    assert texts(svg) == ["0", "72", "0", "36", "14", "72", "7"]


def test_a_day_seen_in_part_is_an_open_dot_beside_the_line_and_takes_the_rest_as_alive():
    svg = drawn(day(7, 70), day(9, 30, seen=34, dead=4), day(14, 60))
    assert [name for name, _x, _y in circles(svg)] == ["alive-dot", "alive-dot alive-open", "alive-dot"]
    assert len(re.search(r'points="([^"]*)"', svg)[1].split()) == 3
    assert "day 9, 68 of 72, only 34 seen" in svg
    picture = alive_picture([day(14, 60), day(7, 70)])
    assert not picture.has_open and not picture.has_wilting


def test_a_day_that_nobody_closed_is_open_too():
    assert "alive-open" in drawn(day(7, 70), day(14, 60, is_closed=False))


def test_wilting_hangs_from_the_dot_it_is_counted_in():
    svg = drawn(day(7, 72, wilting=36), day(14, 72))
    x, y, height = re.search(
        r'<rect class="alive-wilting" x="([\d.]+)" y="([\d.]+)" width="16" height="([\d.]+)"', svg
    ).groups()
    assert (float(x) + 8, float(y), float(height)) == ((LEFT + RIGHT) / 2, TOP, (BOTTOM - TOP) / 2)
    assert "day 7, 72 of 72, 36 wilting" in svg


@pytest.mark.parametrize(
    "said", [{"is_record": True}, {"parts": [Part("a", 36, 30, True), Part("b", 36, 30, False)]}]
)
def test_the_record_is_marked(said):
    svg = drawn(day(7, 70), day(14, 60, **said))
    assert svg.count("alive-record") == 1 and texts(svg).count("record") == 1
    assert "day 14, 60 of 72, the record." in svg


def test_figures_never_stand_in_each_other_and_the_record_keeps_its_own():
    svg = drawn(*(day(age, 80 - age, is_record=age == 15) for age in range(8, 21)))
    figures = re.findall(r'<text x="([\d.]+)" y="156"[^>]*>(\d+)</text>', svg)
    places = sorted(float(x) for x, _said in figures)
    assert min(b - a for a, b in pairwise(places)) >= 28
    assert {"15", "20"} <= {said for _x, said in figures} and len(circles(svg)) == 13
    assert all(x <= WIDTH - 20 for x in places)


@pytest.mark.parametrize(
    "days",
    [[], [day(7)], [day(None), day(None)], [day(7), day(9, 0, seen=2, dead=0, gone=2)], [day(0), day(0)]],
)
def test_one_count_is_no_picture(days):
    assert alive_picture(days[::-1]) is None


def test_what_left_alive_is_no_loss():
    svg = drawn(day(7, 70), day(14, 30, gone=40))
    assert "day 14, 70 of 72, 40 of them gone." in svg
    assert {y for _name, _x, y in circles(svg)} == {circles(svg)[0][2]}
    assert alive_picture([day(14, 30, gone=40), day(7, 70)]).has_gone


@pytest.fixture
def flat(db):
    flat = make_flat()
    make_run(flat, grafted_on=timezone.localdate() - timedelta(days=15))
    return flat


def test_the_page_of_the_flat_shows_it_from_the_second_day_on(crew, flat):
    check_flat(flat, {}, days_ago=8)
    assert "<figure" not in crew.get(f"/{flat.code}").content.decode()
    check_flat(flat, {1: "dead", 2: "wilting"})
    html = crew.get(f"/{flat.code}").content.decode()
    figure = re.search(r'<figure class="alive-figure">.*?</figure>', html, re.S)[0]
    said = "Alive by check: day 7, 72 of 72; day 15, 71 of 72, 1 wilting, the record."
    assert f'role="img" aria-label="{said}"' in figure
    assert "wilting among them" in figure and "seen in part" not in figure


def test_it_asks_the_database_for_nothing(flat):
    days = [day(14), day(7)]
    with CaptureQueriesContext(connection) as captured:
        alive_picture(days)
    assert len(captured) == 0
