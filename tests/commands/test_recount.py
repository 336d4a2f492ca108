"""``recount`` proves the counts, and sees every column that lies."""

from datetime import date, timedelta

import pytest
from django.core.management import CommandError, call_command

from nursery.models import Check, Closing, DayCount
from tests.actions.test_marks import DAY_14, check_in, close, mark_in, send
from tests.factories import make_flat, make_pairing, make_run, make_season

pytestmark = pytest.mark.django_db


@pytest.fixture
def counted(farm):
    """A flat of two runs, looked at on two days, with a disagreement, wilting, early and late leaving."""
    season = make_season()
    flat = make_flat()
    make_run(flat, places=range(1, 41))
    make_run(flat, places=range(41, 73))
    early, twin, last = check_in(flat, DAY_14 - timedelta(days=11)), check_in(flat), check_in(flat)
    marks = [
        mark_in(early, 1, "gone", cause="sold"),
        mark_in(last, 2, "gone", cause="sold"),
        mark_in(last, 3, "wilting"),
        mark_in(last, 4),
        mark_in(twin, 4, "wilting"),
    ]
    send(checks=[early, twin, last], marks=marks, closings=[close(early), close(last)])
    assert DayCount.objects.filter(season=season).count() == 4
    return flat


def test_agrees_with_what_the_writer_stored(counted, capsys):
    call_command("recount")
    assert "4 counts agree" in capsys.readouterr().out


def corrupt_pairing():
    DayCount.objects.update(pairing=make_pairing())


def corrupt_season():
    DayCount.objects.update(season=None)


CORRUPTIONS = {
    "pairing": corrupt_pairing,
    "season": corrupt_season,
    "grafted": lambda: DayCount.objects.filter(is_record=False).update(grafted=80),
    "alive": lambda: DayCount.objects.filter(gone=2).update(alive=36, dead=2),
    "wilting": lambda: DayCount.objects.filter(wilting=1).update(wilting=0),
    "dead": lambda: DayCount.objects.filter(dead=1).update(dead=0, alive=38),
    "gone": lambda: DayCount.objects.filter(gone=2).update(gone=1, alive=38),
    "gone_early": lambda: DayCount.objects.filter(gone=2).update(gone_early=2),
    "seen": lambda: DayCount.objects.filter(is_record=False).update(seen=30, alive=30, gone=0, gone_early=0),
    "source": lambda: DayCount.objects.update(source="numbers"),
    "has_disagreement": lambda: DayCount.objects.filter(has_disagreement=True).update(has_disagreement=False),
    "is_closed": lambda: DayCount.objects.filter(is_record=False).update(is_closed=False),
    "is_record": lambda: DayCount.objects.update(is_record=False),
    "check ": lambda: Check.objects.filter(is_closed=True).update(is_closed=False),
    "nothing bears it out": lambda: DayCount.objects.filter(is_record=False).update(day=date(2026, 3, 6)),
    "not counted": lambda: DayCount.objects.filter(is_record=False).delete(),
}


@pytest.mark.parametrize("named", CORRUPTIONS)
def test_sees_each_corrupted_column_and_exits_1(counted, capsys, named):
    CORRUPTIONS[named]()
    with pytest.raises(CommandError) as error:
        call_command("recount")
    assert error.value.returncode == 1
    assert named in capsys.readouterr().err


def test_sees_a_closing_that_was_taken_away(counted):
    Closing.objects.all().delete()
    with pytest.raises(CommandError):
        call_command("recount")
