"""manage.py takes: the JSON that scripts rely on, and the same in words."""

import json
import subprocess
import sys
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from nursery.models import GradeCount, Grading
from tests.factories import make_pairing, make_run, make_season
from tests.models.rows import SIGNED
from tests.models.test_takes import make_count

pytestmark = pytest.mark.django_db


@pytest.fixture
def counted():
    season = make_season("Spring 2026")
    pairing = make_pairing()
    for alive in (70, 60):
        make_count(make_run(places=[], pairing=pairing), alive=alive, wilting=1, season=season)
    make_count(make_run(places=[], pairing=pairing), day=7, alive=66, is_record=False, season=season)
    return pairing


def run_json(capsys, *options):
    call_command("takes", *options, "--format", "json")
    return json.loads(capsys.readouterr().out)


def test_the_json_has_the_agreed_shape(counted, capsys):
    (crop,) = run_json(capsys, "--by", "pairing", "--season", "Spring 2026")["crops"]
    assert crop.keys() >= {"crop", "dispersion", "df", "rows", "early"}
    (row,) = crop["rows"]
    assert list(row) == [
        "name", "flats", "runs", "grafted", "alive", "wilting", "take_share", "low", "high",
        "flats_grafted", "graded", "saleable", "heads", "two_heads_even", "two_heads_uneven",
    ]  # fmt: skip
    assert (row["name"], row["flats"], row["grafted"], row["alive"]) == (str(counted), 2, 144, 130)
    assert row["take_share"] == pytest.approx(130 / 144)
    assert 0 < row["low"] < row["take_share"] < row["high"] < 1
    (early,) = crop["early"]
    assert (early["day"], early["alive"], early["grafted"]) == (7, 66, 72)


def test_what_cannot_be_said_is_null(capsys):
    make_count(make_run(places=[]), alive=70)
    (crop,) = run_json(capsys, "--by", "grafter")["crops"]
    (row,) = crop["rows"]
    assert (row["name"], row["low"], row["high"]) == ("not recorded", None, None)
    assert (crop["dispersion"], crop["df"]) == (None, 0)


def test_an_empty_book_is_an_empty_list(capsys):
    assert run_json(capsys, "--by", "pairing") == {"crops": []}


def test_an_unknown_season_names_those_there_are(counted):
    with pytest.raises(CommandError, match=r"No season is called 'Spring'.*Spring 2026") as raised:
        call_command("takes", "--by", "pairing", "--season", "Spring")
    assert raised.value.returncode == 1


def test_says_the_same_in_words(counted, capsys):
    call_command("takes", "--by", "pairing")
    out = capsys.readouterr().out
    assert f"{counted}: 130 of 144 took, 90.3%; likely" in out
    assert f"early count, day 7: {counted}: 66 of 72 alive" in out


def test_says_of_how_many_flats_and_what_is_saleable(counted, capsys):
    run = counted.runs.order_by("pk").first()
    grading = Grading.objects.create(flat=run.flat, day=run.grafted_on, **SIGNED)
    for grade, plants in (("first", 50), ("second", 10), ("cull", 10)):
        GradeCount.objects.create(grading=grading, run=run, grade=grade, plants_count=plants)
    call_command("takes", "--by", "method")
    # 60 of the 70 graded are first or second; a third flat has an early count and no record.
    out = capsys.readouterr().out
    assert "(2 of 3 flats, 2 wilting); saleable 60 of 70 graded, 85.7%" in out


def test_scipy_waits_until_a_report_is_computed(tmp_path):
    """Web workers that serve taps import all views; none of that may load scipy or pandas."""
    code = (
        "import django, sys; django.setup(); import nursery.urls, nursery.actions.tallies;"
        "print([m for m in ('scipy', 'numpy', 'pandas') if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=Path(__file__).parents[2],
        env={"DJANGO_SETTINGS_MODULE": "nursery.settings", "TAKEBOOK_DATA": str(tmp_path)},
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.strip() == "[]"
