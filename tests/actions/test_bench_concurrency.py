"""Two people at one bench at the same moment, each on a connection of their own."""

from datetime import UTC, datetime, timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError

from nursery.actions.bench import Tray, put_on, put_on_next
from nursery.actions.blades import note_blade_once
from nursery.actions.finishing import finish_flat
from nursery.actions.runs import hand_over
from nursery.actions.sessions import start_session
from nursery.actions.stamp import Stamp
from nursery.actions.work import Work
from nursery.models import BladeEvent, Cell, Farm, Flat, PrintedCode, Run, Session, StageMove
from tests.actions.test_concurrency import at_once, real_database, rounds  # noqa: F401
from tests.factories import make_flat, make_format, make_layout, make_pairing, make_session, make_worker

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.usefixtures("real_database", "farm_there", "rounds"),
]
NINE = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def at(minutes=0):
    return Stamp.of(NINE + timedelta(minutes=minutes))


@pytest.fixture
def farm_there(real_database):  # noqa: F811
    return Farm.objects.create(pk=1, name="Test farm")


def tried(errand):
    """Return an errand that tells whether it was refused."""

    def go():
        try:
            errand()
        except ValidationError:
            return "refused"
        return "done"

    return go


def begin(session=None, **fields):
    work = Work(pairing=make_pairing(), method="splice", **fields)
    tray = Tray(tray_format=make_format(), layout=make_layout())
    return put_on(session or make_session(), tray=tray, work=work, stamp=at())


def test_two_finish_and_the_cells_are_stored_once():
    flat = begin().flat
    did = at_once(
        tried(lambda: finish_flat(flat, blanks=[], stamp=at(20))),
        tried(lambda: finish_flat(flat, blanks=[1], stamp=at(20))),
    )
    assert sorted(did) == ["done", "refused"]
    blanks = Flat.objects.get().blank_places
    assert Cell.objects.count() == 72 - len(blanks)


def test_one_finishes_while_the_other_hands_over():
    run, ada = begin(worker=make_worker("Wren")), make_worker("Ada")
    work = Work.of(run).by(ada)
    did = at_once(
        tried(lambda: finish_flat(run.flat, blanks=[], stamp=at(20))),
        tried(lambda: hand_over(run.flat, first_place=37, work=work, stamp=at(20))),
    )
    # Handed over and then finished, or finished and then refused: never a plant without its run.
    assert did in (["done", "done"], ["done", "refused"])
    assert Cell.objects.count() == 72
    assert not Run.objects.open().exists()
    for stored in Run.objects.all():
        orders = list(stored.cells.order_by("place_no").values_list("order_in_run", flat=True))
        assert orders == list(range(1, len(orders) + 1)) and orders


def test_two_hand_over_and_one_stands():
    run, ada, kit = begin(worker=make_worker("Wren")), make_worker("Ada"), make_worker("Kit")
    did = at_once(
        *(
            tried(lambda who=who: hand_over(run.flat, first_place=37, work=Work.of(run).by(who), stamp=at(9)))
            for who in (ada, kit)
        )
    )
    assert sorted(did) == ["done", "refused"]
    assert list(Run.objects.order_by("number").values_list("number", "first_place")) == [(1, 1), (2, 37)]


def test_two_put_the_same_flat_on():
    flat, session, work = make_flat(), make_session(), Work(pairing=make_pairing(), method="splice")
    errand = tried(lambda: put_on(session, tray=flat, work=work, stamp=at()))
    assert sorted(at_once(errand, errand)) == ["done", "refused"]
    assert (Run.objects.count(), StageMove.objects.count()) == (1, 1)


def test_two_take_the_same_printed_label():
    code = make_flat().code
    Flat.objects.all().delete()
    PrintedCode.objects.create(code=code, printed_at=NINE)
    session, work = make_session(), Work(pairing=make_pairing(), method="splice")
    tray = Tray(tray_format=make_format(), layout=make_layout(), code=code)
    errand = tried(lambda: put_on(session, tray=tray, work=work, stamp=at()))
    assert sorted(at_once(errand, errand)) == ["done", "refused"]
    assert Flat.objects.count() == 1


def test_next_flat_sent_twice_at_once_is_one_flat():
    session, key = make_session(), uuid4()
    begin(session)
    errand = tried(lambda: put_on_next(session, worker=None, stamp=at(5), key=key))
    assert at_once(errand, errand) == ["done", "done"]
    assert (Flat.objects.count(), StageMove.objects.count()) == (2, 2)


def test_two_start_at_one_bench():
    errand = tried(lambda: start_session(stamp=at()))
    assert sorted(at_once(errand, errand)) == ["done", "refused"]
    assert Session.objects.count() == 1


def test_a_start_and_a_blade_sent_twice_at_once_are_stored_once():
    key, mark = uuid4(), uuid4()
    start = tried(lambda: start_session(stamp=at(), key=key))
    assert at_once(start, start) == ["done", "done"]
    session = Session.objects.get()

    def note():
        note_blade_once(BladeEvent(session=session, kind="changed"), stamp=at(1), uuid=mark)

    assert at_once(tried(note), tried(note)) == ["done", "done"]
    assert BladeEvent.objects.count() == 1
