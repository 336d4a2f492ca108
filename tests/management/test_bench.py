"""The benchmarks' arithmetic, that they measure what they say, and that they leave the farm's book alone."""

import json
import subprocess
import sys

import pytest
from django.core.management import CommandError, call_command

from nursery.management.bench import taps
from nursery.management.bench.figures import Goal, Measured, Row, in_turn, percentile
from nursery.management.bench.floor_urls import buttons
from nursery.management.bench.profiling import TIMES
from nursery.management.bench.run import PARTS
from nursery.models import Flat, Mark
from tests.commands.server import ROOT, environment


def row(ours, floor, goal):
    return Row("name", "what", Measured("ms", ours), Measured("ms", floor), goal)


def test_the_ratio_is_the_median_of_the_ratios_of_the_repeats():
    found = row((2.0, 30.0, 4.0), (1.0, 10.0, 1.0), Goal(3)).as_data()  # 2, 3 and 4 times
    assert (found["ratio"], found["ratio_low"], found["ratio_high"]) == (3, 2, 4)
    assert found["ours"] == {"unit": "ms", "median": 4, "low": 2, "high": 30, "repeats": 3}
    assert found["status"] == "met"


@pytest.mark.parametrize(
    ("goal", "ratio", "status"),
    [
        (Goal(6), 6.0, "met"),
        (Goal(6), 6.1, "not met"),
        (Goal(4, is_at_least=True), 4.0, "met"),
        (Goal(4, is_at_least=True), 3.9, "not met"),
        (None, 1.0, "no goal"),
    ],
)
def test_a_goal_is_met_up_to_its_limit(goal, ratio, status):
    assert row((ratio,), (1.0,), goal).status == status


def test_without_a_floor_the_goal_is_for_the_figure_itself():
    assert Row("n", "w", Measured("failed", (0.0,)), goal=Goal(0)).status == "met"
    assert Row("n", "w", Measured("failed", (1.0,)), goal=Goal(0)).status == "not met"


def test_what_is_not_built_says_so():
    assert Row("readings", "what").as_data()["status"] == "not built yet"


@pytest.mark.parametrize(("share", "value"), [(0.5, 50), (0.99, 99), (0.995, 100), (1, 100), (0.001, 1)])
def test_percentile_is_the_nearest_rank(share, value):
    assert percentile(list(range(100, 0, -1)), share) == value


def test_percentile_of_nothing_is_refused():
    with pytest.raises(ValueError, match="of 0"):
        percentile([], 0.5)


def test_ours_and_the_floor_take_turns_and_the_first_time_does_not_count():
    order, values = [], iter([99, 1, 5, 3, 2, 2, 2])

    def ours():
        order.append("ours")
        return next(values)

    def floor():
        order.append("floor")
        return 1

    found = in_turn(ours, floor, times=3, repeats=2)
    assert order == ["ours", "floor"] * 7
    assert found == ((3, 2), (1, 1))  # the medians of 1, 5, 3 and of 2, 2, 2


def test_the_floor_page_has_a_button_for_each_cell():
    assert buttons([(place, True) for place in range(1, 289)]).count("<button") == 288


@pytest.mark.django_db(transaction=True)
def test_a_batch_is_stored_and_the_floor_stores_one_row(monkeypatch):
    monkeypatch.setattr(taps, "PLACES", 104)
    rows = list(taps.measure_batches(repeats=1, times=1))
    assert [one.name for one in rows] == ["batch-10", "batch-100"]
    assert all(one.ours.median > 0 and one.floor.median > 0 for one in rows)
    # each size: two batches measured (one to warm up), the floor's one row twice, and those of the profile
    profiled = sum(size * (taps_profile(one)) for size, one in zip((10, 100), rows, strict=True))
    assert Mark.objects.count() == 2 * (10 + 100) + 4 + profiled


def taps_profile(one):
    return TIMES + 1 if one.profile else 0


@pytest.mark.django_db
def test_a_book_that_was_not_made_for_it_is_not_touched(farm):
    with pytest.raises(CommandError, match="nothing was touched"):
        call_command("bench", "--inside", json.dumps({"only": ["page"]}))
    assert not Flat.objects.exists()


@pytest.mark.sqlite
def test_a_quick_run_as_a_command(tmp_path):
    out = tmp_path / "bench.json"
    extra = {"TAKEBOOK_DATA": str(tmp_path / "farm")}
    command = [sys.executable, str(ROOT / "manage.py"), "bench", "--quick", "--only", "readings", "planning"]
    ended = subprocess.run(
        [*command, "--out", str(out)], capture_output=True, text=True, env=environment(**extra)
    )
    assert ended.returncode == 0, ended.stderr
    said = json.loads(out.read_text())
    assert said["summary"] == ["readings: not built yet", "planning: not built yet"]
    assert said["machine"]["database"].startswith("sqlite")
    assert not (tmp_path / "farm" / "takebook.sqlite3").exists()
    assert set(PARTS) >= {"batch", "clients", "load", "tap", "takes", "page", "labels", "import", "worker"}
