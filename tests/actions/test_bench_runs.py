"""Handing over, taking back, putting right, sowings by their label."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from django.core.exceptions import ValidationError

from nursery.actions.bench import Tray, put_on
from nursery.actions.finishing import finish_flat, set_blanks
from nursery.actions.runs import correct_run, first_place_after, hand_over, undo_hand_over, use_sowing
from nursery.actions.sessions import end_session, start_session
from nursery.actions.stamp import Stamp
from nursery.actions.work import Work
from nursery.models import Change, Flat, Run
from tests.factories import (
    make_cultivar,
    make_format,
    make_layout,
    make_lot,
    make_pairing,
    make_session,
    make_sowing,
    make_worker,
)

NINE = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def at(minutes=0):
    return Stamp.of(NINE + timedelta(minutes=minutes))


@pytest.fixture
def wren(db):
    return make_worker("Wren")


@pytest.fixture
def ada(db):
    return make_worker("Ada")


@pytest.fixture
def run(farm, wren):
    """A flat of 6 x 12 in Wren's hands since nine, with a sowing on each side."""
    pairing = make_pairing()
    work = Work(
        pairing=pairing,
        method="splice",
        worker=wren,
        scion_sowings=(make_sowing(make_lot(pairing.scion)),),
        rootstock_sowings=(make_sowing(make_lot(pairing.rootstock)),),
        cut="above",
    )
    tray = Tray(tray_format=make_format(), layout=make_layout())
    return put_on(make_session(), tray=tray, work=work, stamp=at())


def fresh(run):
    return Run.objects.get(pk=run.pk)


def test_closes_one_run_and_opens_the_next_with_what_changed(run, ada):
    new = hand_over(run.flat, first_place=37, work=Work.of(run).by(ada), stamp=at(12))
    assert fresh(run).finished_at == at(12).at
    assert (new.number, new.first_place, new.worker, new.started_at) == (2, 37, ada, at(12).at)
    assert new.finished_at is None
    assert Work.of(new) == replace(Work.of(run), worker=ada)


def test_another_scion_keeps_the_rootstocks_sowing_alone(run):
    other = make_pairing(rootstock=run.pairing.rootstock)
    new = hand_over(run.flat, first_place=25, work=Work.of(run).on_pairing(other), stamp=at(12))
    assert Work.of(new).scion_sowings == ()
    assert Work.of(new).rootstock_sowings == Work.of(run).rootstock_sowings


def test_another_scion_takes_the_sowing_that_this_session_used_for_it(run):
    other = make_pairing(rootstock=run.pairing.rootstock)
    used = make_sowing(make_lot(other.scion))
    put_on(
        run.session,
        tray=Tray(tray_format=make_format(), layout=make_layout()),
        work=Work(pairing=other, method="splice", scion_sowings=(used,)),
        stamp=at(3),
    )
    new = hand_over(run.flat, first_place=25, work=Work.of(run).on_pairing(other), stamp=at(12))
    assert Work.of(new).scion_sowings == (used,)


@pytest.mark.parametrize("place", [0, 1, 73, 999])
def test_refuses_the_first_cell_of_the_run_and_what_is_no_place(run, ada, place):
    with pytest.raises(ValidationError) as raised:
        hand_over(run.flat, first_place=place, work=Work.of(run).by(ada), stamp=at(1))
    assert list(raised.value.message_dict) == ["first_place"]
    assert (Run.objects.count(), fresh(run).finished_at) == (1, None)


def test_refuses_a_place_before_the_run_in_hand(run, ada, wren):
    hand_over(run.flat, first_place=37, work=Work.of(run).by(ada), stamp=at(10))
    with pytest.raises(ValidationError, match="begins at D1"):
        hand_over(run.flat, first_place=30, work=Work.of(run).by(wren), stamp=at(12))
    assert Run.objects.count() == 2


def test_refuses_a_place_that_the_layout_does_not_use(farm, ada):
    tray = Tray(tray_format=make_format(), layout=make_layout("Every other", "other_cell"))
    run = put_on(make_session(), tray=tray, work=Work(pairing=make_pairing(), method="splice"), stamp=at())
    with pytest.raises(ValidationError, match="No graft stands there"):
        hand_over(run.flat, first_place=2, work=Work.of(run).by(ada), stamp=at(1))
    assert hand_over(run.flat, first_place=3, work=Work.of(run).by(ada), stamp=at(1)).first_place == 3


def test_refuses_a_hand_over_that_changes_nothing(run):
    with pytest.raises(ValidationError, match="Nothing changes"):
        hand_over(run.flat, first_place=37, work=Work.of(run), stamp=at(1))
    assert fresh(run).finished_at is None


def test_a_flat_left_over_goes_on_in_the_session_that_is_open(run, wren):
    end_session(run.session, stamp=at(60), leave_unfinished=True)
    with pytest.raises(ValidationError, match="No session is open"):
        hand_over(run.flat, first_place=37, work=Work.of(run), stamp=at(61))
    tomorrow = start_session(stamp=at(60 * 24))
    new = hand_over(run.flat, first_place=37, work=Work.of(run), stamp=at(60 * 24 + 5))
    assert (new.session, new.worker, new.grafted_on.day) == (tomorrow, wren, 3)


def test_two_hand_over_at_once_and_one_is_told(run, ada):
    stale = Flat.objects.get(pk=run.flat_id)
    hand_over(run.flat, first_place=37, work=Work.of(run).by(ada), stamp=at(10))
    with pytest.raises(ValidationError, match="begins at D1"):
        hand_over(stale, first_place=37, work=Work.of(run).by(ada), stamp=at(10))
    assert Run.objects.count() == 2


def test_columns_changed_meanwhile_survive_a_hand_over(run, ada):
    Run.objects.filter(pk=run.pk).update(clip="1.5 mm")
    Flat.objects.filter(pk=run.flat_id).update(note="Written behind the back")
    new = hand_over(run.flat, first_place=37, work=Work.of(run).by(ada), stamp=at(10))
    assert fresh(run).clip == "1.5 mm"
    assert Flat.objects.get(pk=new.flat_id).note == "Written behind the back"


def test_taking_back_puts_the_earlier_run_in_hand_and_is_written_down(run, ada):
    hand_over(run.flat, first_place=37, work=Work.of(run).by(ada), stamp=at(10))
    assert undo_hand_over(run.flat, stamp=at(11)).pk == run.pk
    assert fresh(run).finished_at is None
    change = Change.objects.get()
    assert change.flat == run.flat
    assert change.field == "hand_over"
    assert (change.old["first_place"], change.old["work"]["worker"]) == (37, str(ada.key))


def test_there_is_nothing_to_take_back_on_the_first_run_or_when_finished(run, ada):
    with pytest.raises(ValidationError, match="no hand-over"):
        undo_hand_over(run.flat, stamp=at(1))
    hand_over(run.flat, first_place=37, work=Work.of(run).by(ada), stamp=at(10))
    finish_flat(run.flat, blanks=[], stamp=at(20))
    with pytest.raises(ValidationError, match="not being grafted"):
        undo_hand_over(run.flat, stamp=at(21))
    assert Run.objects.count() == 2


def test_a_correction_changes_what_it_names_and_writes_it_down(run, ada):
    Run.objects.filter(pk=run.pk).update(is_fresh_blade=True)
    other = make_sowing(make_lot(run.pairing.scion))
    old = Work.of(run).scion_sowings[0]
    correct_run(run, work=replace(Work.of(run), worker=ada, scion_sowings=(other,)), stamp=at(5))
    stored = fresh(run)
    assert (stored.worker, stored.cut, stored.is_fresh_blade) == (ada, "above", True)
    assert Work.of(stored).scion_sowings == (other,)
    written = {c.field: (c.old, c.new) for c in Change.objects.filter(run=run)}
    assert written["scion_sowings"] == ([old.code], [other.code])
    assert written["worker"][1] == str(ada.key)
    assert len(written) == 2


def test_a_correction_of_nothing_writes_nothing(run):
    correct_run(run, work=Work.of(run), stamp=at(5))
    assert not Change.objects.exists()


def test_a_finished_run_is_not_corrected_here(run, ada):
    finish_flat(run.flat, blanks=[], stamp=at(20))
    with pytest.raises(ValidationError, match="not being grafted"):
        correct_run(run, work=Work.of(run).by(ada), stamp=at(21))
    assert fresh(run).worker != ada


def test_a_sowing_goes_to_the_side_of_its_cultivar_instead_or_beside(run):
    old = Work.of(run).rootstock_sowings
    new = make_sowing(make_lot(run.pairing.rootstock))
    assert use_sowing(run, sowing=new, stamp=at(1), beside=True) == "rootstock"
    assert Work.of(fresh(run)).rootstock_sowings == (*old, new)
    use_sowing(run, sowing=new, stamp=at(2))
    assert Work.of(fresh(run)).rootstock_sowings == (new,)
    with pytest.raises(ValidationError, match="neither scion nor rootstock"):
        use_sowing(run, sowing=make_sowing(make_lot(make_cultivar("Stray"))), stamp=at(3))


def test_counts_done_plants_past_known_blanks(run):
    flat = run.flat
    assert first_place_after(flat, 36) == 37
    set_blanks(flat, blanks=[3, 37], stamp=at(1))
    flat.refresh_from_db()
    assert first_place_after(flat, 35) == 38
    with pytest.raises(ValidationError, match="All 70 are done"):
        first_place_after(flat, 70)
    with pytest.raises(ValidationError, match="70 places"):
        first_place_after(flat, 71)
