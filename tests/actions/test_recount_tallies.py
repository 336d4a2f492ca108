"""The proof of past seasons sees every column that lies, and costs the same queries for few and many."""

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from nursery.actions.recount import differences
from nursery.models import Check, DayCount, TallyRow
from tests.actions.test_tallies import row, run_import
from tests.factories import make_pairing, make_season

pytestmark = pytest.mark.django_db


@pytest.fixture
def book():
    run_import(
        row(),
        row(checked_on="2025-03-24", alive="67"),
        row(flat="A2"),
        row(flat="A3", alive="0", wilting="0"),
    )
    assert list(differences()) == []


def records():
    return DayCount.objects.filter(is_record=True)


CORRUPTIONS = {
    "pairing": lambda: DayCount.objects.filter(alive=67).update(pairing=make_pairing()),
    "season": lambda: DayCount.objects.filter(alive=67).update(
        season=make_season("Other", date(1999, 1, 1), date(1999, 2, 1))
    ),
    "grafted": lambda: DayCount.objects.filter(alive=67).update(grafted=73),
    "alive": lambda: DayCount.objects.filter(alive=67).update(alive=66, dead=6),
    "wilting": lambda: DayCount.objects.filter(alive=67).update(wilting=1),
    "gone": lambda: DayCount.objects.filter(alive=67).update(gone=1, alive=66),
    "seen": lambda: DayCount.objects.filter(alive=67).update(seen=71, alive=66),
    "source": lambda: DayCount.objects.filter(alive=67).update(source="cells"),
    "has_disagreement": lambda: DayCount.objects.filter(alive=67).update(has_disagreement=True),
    "is_closed": lambda: DayCount.objects.filter(alive=67).update(is_closed=False),
    "is_record": lambda: records().filter(alive=0).update(is_record=False),
    "not counted": lambda: DayCount.objects.filter(alive=67).delete(),
    "nothing bears it out": lambda: TallyRow.objects.filter(alive=67).update(checked_on=date(2025, 3, 25)),
}


@pytest.mark.usefixtures("book")
@pytest.mark.parametrize("corruption", CORRUPTIONS)
def test_sees_what_lies(corruption):
    CORRUPTIONS[corruption]()
    assert any(corruption in sentence for sentence in differences())


@pytest.mark.usefixtures("book")
def test_a_replaced_row_is_no_count():
    run_import(row(alive="60"), replaces=True)
    assert list(differences()) == []
    TallyRow.objects.standing().filter(alive=60).update(alive=61)
    assert len(list(differences())) == 2  # alive and dead


@pytest.mark.usefixtures("book")
def test_a_tally_flat_that_was_checked_is_folded_as_others_are():
    at = DayCount.objects.first().flat.created_at
    Check.objects.create(
        flat=DayCount.objects.first().flat, day=at.date() + timedelta(days=1),
        opened_at=at, raw_opened_at=at, received_at=at, is_closed=True,
    )  # fmt: skip
    assert any("is_closed is True, should be False" in sentence for sentence in differences())


def test_few_and_many_cost_the_same_queries():
    found = []
    for count in (2, 30):
        run_import(*(row(flat=f"B{number}") for number in range(count)))
        with CaptureQueriesContext(
            connection,
        ) as queries:
            assert list(differences()) == []
        found.append(len(queries))
    assert found[0] == found[1]
