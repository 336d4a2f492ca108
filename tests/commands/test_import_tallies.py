"""manage.py import_tallies: exit codes, streams, and what is stored."""

import json

import pytest
from django.core.management import CommandError, call_command

from nursery.models import Season, TallyRow
from tests import crowder
from tests.actions.test_tallies import ROW, file_of, row

pytestmark = pytest.mark.django_db


@pytest.fixture
def tally_file(tmp_path):
    path = tmp_path / "past.csv"

    def write(*rows):
        path.write_bytes(file_of(*rows))
        return str(path)

    return write


def test_says_what_was_stored(tally_file, capsys):
    call_command("import_tallies", tally_file(ROW, row(flat="A2")))
    out = capsys.readouterr().out
    assert "2 rows: 2 new, 0 unchanged, 0 replaced." in out
    assert "New season: Spring 2025, 2025-01-01 to 2025-12-31." in out
    assert "New pairings: Amber Lantern on Stonefoot." in out
    assert TallyRow.objects.count() == 2


def test_a_dry_run_stores_nothing(tally_file, capsys):
    call_command("import_tallies", tally_file(ROW), "--dry-run")
    assert "1 new" in capsys.readouterr().out
    assert not TallyRow.objects.exists()


def test_faults_go_to_the_error_stream_and_nothing_is_stored(tally_file, capsys):
    with pytest.raises(CommandError, match=r"2 faults; nothing was stored\.") as raised:
        call_command("import_tallies", tally_file(ROW, row(flat="A2", alive="73"), row(grafted_on="soon")))
    assert raised.value.returncode == 1
    captured = capsys.readouterr()
    assert "row 3, column alive: 73 alive are more than the 72 grafted." in captured.err
    assert "row 4, column grafted_on: “soon” is not a date" in captured.err
    assert captured.out == ""
    assert not TallyRow.objects.exists()


def test_replaces_only_when_told(tally_file, capsys):
    call_command("import_tallies", tally_file(ROW))
    changed = tally_file(row(alive="60"))
    with pytest.raises(CommandError):
        call_command("import_tallies", changed)
    assert "column alive: The book has 72 grafted, 68 alive" in capsys.readouterr().err
    call_command("import_tallies", changed, "--replace")
    assert "0 new, 0 unchanged, 1 replaced" in capsys.readouterr().out
    assert TallyRow.objects.standing().get().alive == 60


def test_a_season_is_given_for_rows_without_one(tally_file):
    call_command("import_tallies", tally_file(row(season="")), "--season", "Past")
    assert Season.objects.get().name == "Past"


def test_a_missing_file_is_said(tmp_path):
    with pytest.raises(CommandError, match=r"nowhere\.csv cannot be read: No such file"):
        call_command("import_tallies", str(tmp_path / "nowhere.csv"))


def test_crowders_plates_come_out_as_published(tmp_path, capsys):
    """Counts: Crowder (1978), table 3. Dispersion and ranges: crowder_expected.json."""
    path = tmp_path / "crowder.csv"
    path.write_bytes(crowder.tallies_csv())
    call_command("import_tallies", str(path))
    capsys.readouterr()
    call_command("takes", "--by", "pairing", "--season", crowder.SEASON, "--format", "json")
    (crop,) = json.loads(capsys.readouterr().out)["crops"]
    assert (crop["crop"], crop["df"]) == (crowder.CROP, 17)
    assert crop["dispersion"] == pytest.approx(1.861832, abs=5e-7)
    rows = {row["name"]: row for row in crop["rows"]}
    for name, group in crowder.EXPECTED["groups"].items():
        shown = rows[crowder.row_name(name)]
        assert (shown["alive"], shown["grafted"], shown["flats"]) == (group["r"], group["n"], group["plates"])
        assert shown["take_share"] == pytest.approx(group["p"], abs=5e-7)
        expected = crowder.EXPECTED["recommended_method"]["wilson_neff_t"][name]
        assert [shown["low"], shown["high"]] == pytest.approx(expected, abs=6e-6)
