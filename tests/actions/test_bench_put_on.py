"""Putting flats on the bench: what they become, what carries over, what is refused."""

import uuid
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError

from nursery.actions.bench import Tray, put_on, put_on_next, run_to_copy, take_off, tray_of_code
from nursery.actions.codes import issue_code
from nursery.actions.sessions import end_session, pause_session
from nursery.actions.stamp import Stamp
from nursery.actions.work import Work
from nursery.calc.codes import spoken
from nursery.models import Flat, PrintedCode, Run, Session, StageMove
from tests.factories import (
    make_flat,
    make_format,
    make_layout,
    make_lot,
    make_pairing,
    make_place,
    make_run,
    make_session,
    make_sowing,
    make_worker,
)

NINE = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def at(minutes=0):
    return Stamp.of(NINE + timedelta(minutes=minutes))


def a_tray(**fields):
    return Tray(tray_format=make_format(), layout=make_layout(), **fields)


def work(**fields):
    return Work(**{"pairing": make_pairing(), "method": "splice", **fields})


def test_a_new_tray_gets_a_code_a_run_and_the_bench_as_its_stage(farm):
    session = make_session(place=make_place("Bench 1"))
    run = put_on(session, tray=a_tray(), work=work(worker=make_worker("Wren")), stamp=at())
    flat = Flat.objects.with_stage().get(pk=run.flat_id)
    assert (flat.stage, flat.place_name, flat.blank_places) == ("bench", "Bench 1", None)
    assert (run.number, run.first_place, run.started_at, run.finished_at) == (1, 1, NINE, None)
    assert not flat.cells.exists()


def test_the_day_of_grafting_is_the_farms_own_date(farm):
    farm.time_zone = "Pacific/Auckland"
    farm.save()
    late = Stamp.of(datetime(2026, 3, 2, 20, 0, tzinfo=UTC))
    run = put_on(make_session(), tray=a_tray(), work=work(), stamp=late)
    assert run.grafted_on == date(2026, 3, 3)


def test_the_first_place_is_the_first_that_the_layout_uses(farm):
    tray = Tray(tray_format=make_format(), layout=make_layout("Skip", "other_cell", True))
    assert put_on(make_session(), tray=tray, work=work(), stamp=at()).first_place == 2


def test_a_sown_flat_keeps_its_code_and_gives_its_sowing_to_its_side(farm):
    pairing = make_pairing()
    own = make_sowing(make_lot(pairing.rootstock), is_in_flats=True)
    flat = make_flat(sowing=own)
    other = make_sowing(make_lot(pairing.rootstock))
    run = put_on(
        make_session(), tray=flat, work=work(pairing=pairing, rootstock_sowings=(other,)), stamp=at()
    )
    assert [(row.side, row.sowing) for row in run.run_sowings.all()] == [("rootstock", own)]


def test_a_flat_sown_with_neither_cultivar_is_refused(farm):
    flat = make_flat(sowing=make_sowing())
    with pytest.raises(ValidationError, match="neither scion nor rootstock"):
        put_on(make_session(), tray=flat, work=work(), stamp=at())
    assert not Run.objects.exists()


def test_a_printed_code_is_taken_into_use_once(farm):
    code = issue_code("F")
    PrintedCode.objects.create(code=code, printed_at=NINE)
    run = put_on(make_session(), tray=a_tray(code=code), work=work(), stamp=at(5))
    assert run.flat.code == code
    assert PrintedCode.objects.get().used_at == NINE + timedelta(minutes=5)
    with pytest.raises(ValidationError, match="in use"):
        put_on(make_session(), tray=a_tray(code=code), work=work(), stamp=at(6))
    assert Flat.objects.count() == 1


def test_a_form_sent_twice_makes_one_flat(farm):
    session, key, same = make_session(), uuid.uuid4(), work()
    first = put_on(session, tray=a_tray(key=key), work=same, stamp=at())
    second = put_on(session, tray=a_tray(key=key), work=same, stamp=at(1))
    assert first.pk == second.pk
    assert (Flat.objects.count(), StageMove.objects.count()) == (1, 1)


def test_a_flat_on_the_bench_grafted_or_discarded_is_refused_by_name(farm):
    session = make_session()
    busy = put_on(session, tray=a_tray(), work=work(worker=make_worker("Wren")), stamp=at()).flat
    with pytest.raises(ValidationError, match="on the bench already: Wren is grafting it"):
        put_on(session, tray=busy, work=work(), stamp=at(1))
    with pytest.raises(ValidationError, match="was grafted on 2 March"):
        put_on(session, tray=make_run().flat, work=work(), stamp=at(1))
    gone = make_flat()
    StageMove.objects.create(flat=gone, stage="discarded", **at().fields())
    with pytest.raises(ValidationError, match="was discarded"):
        put_on(session, tray=gone, work=work(), stamp=at(1))
    assert Run.objects.open().count() == 1


def test_an_ended_session_takes_no_flat(farm):
    session = make_session(ended_at=NINE)
    with pytest.raises(ValidationError, match="has ended"):
        put_on(session, tray=a_tray(), work=work(), stamp=at())
    assert not Flat.objects.exists()


def test_the_session_is_judged_as_it_is_now_and_not_as_it_was_loaded(farm):
    session = make_session()
    Session.objects.filter(pk=session.pk).update(ended_at=NINE, note="Written behind the back")
    with pytest.raises(ValidationError, match="has ended"):
        put_on(session, tray=a_tray(), work=work(), stamp=at())
    session.refresh_from_db()
    assert session.note == "Written behind the back"


def test_columns_of_a_flat_changed_meanwhile_survive(farm):
    flat = make_flat()
    Flat.objects.filter(pk=flat.pk).update(note="Written behind the back")
    put_on(make_session(), tray=flat, work=work(), stamp=at())
    flat.refresh_from_db()
    assert flat.note == "Written behind the back"


def test_a_pair_is_two_people_and_a_sowing_of_its_cultivar(farm):
    wren, session = make_worker("Wren"), make_session()
    with pytest.raises(ValidationError, match="two different people"):
        put_on(session, tray=a_tray(), work=work(worker=wren, second_worker=wren), stamp=at())
    with pytest.raises(ValidationError, match="needs both names"):
        put_on(session, tray=a_tray(), work=work(second_worker=wren), stamp=at())
    with pytest.raises(ValidationError) as raised:
        put_on(session, tray=a_tray(), work=work(scion_sowings=(make_sowing(),)), stamp=at())
    assert list(raised.value.message_dict) == ["scion_sowings"]
    assert not Flat.objects.exists()


def test_the_farms_rule_marks_a_fresh_blade(farm):
    assert put_on(make_session(), tray=a_tray(), work=work(), stamp=at()).is_fresh_blade is None
    farm.blade_rule = "fresh"
    farm.save()
    assert put_on(make_session(), tray=a_tray(), work=work(), stamp=at()).is_fresh_blade is True


def test_work_ends_the_pause(farm):
    session = make_session()
    pause_session(session, stamp=at(10))
    put_on(session, tray=a_tray(), work=work(), stamp=at(40))
    assert session.pauses.get().ended_at == NINE + timedelta(minutes=40)


def test_everything_carries_over_to_the_next_flat_of_the_same_worker(farm):
    session, wren, ada, kit = make_session(), make_worker("Wren"), make_worker("Ada"), make_worker("Kit")
    pairing = make_pairing()
    scion = make_sowing(make_lot(pairing.scion))
    roots = make_sowing(make_lot(pairing.rootstock)), make_sowing(make_lot(pairing.rootstock))
    first = work(
        pairing=pairing,
        method="cleft",
        worker=wren,
        second_worker=ada,
        scion_sowings=(scion,),
        rootstock_sowings=roots,
        cut="above",
        roots="restuck",
        clip="2.0 mm",
        rested_hours=Decimal("12.5"),
        scion_cut_by=kit,
        rootstock_cut_by=ada,
    )
    tray = Tray(tray_format=make_format(5, 10), layout=make_layout("Rows", "other_row"))
    put_on(session, tray=tray, work=first, stamp=at())
    put_on(session, tray=a_tray(), work=work(worker=kit), stamp=at(5))
    run = put_on_next(session, worker=wren, stamp=at(20))
    assert Work.of(run) == first
    assert (run.flat.tray_format, run.flat.layout) == (tray.tray_format, tray.layout)
    assert run.flat.blank_places is None


def test_a_worker_without_a_flat_yet_follows_the_sessions_last(farm):
    session, wren, ada = make_session(), make_worker("Wren"), make_worker("Ada")
    pairing = make_pairing()
    put_on(session, tray=a_tray(), work=work(pairing=pairing, worker=wren), stamp=at())
    assert run_to_copy(make_session(), ada) is None
    run = put_on_next(session, worker=ada, stamp=at(5))
    assert (run.pairing, run.worker) == (pairing, ada)


def test_the_first_flat_has_nothing_to_follow(farm):
    with pytest.raises(ValidationError, match="first flat"):
        put_on_next(make_session(), worker=None, stamp=at())


def test_next_flat_tapped_twice_is_one_flat(farm):
    session, key = make_session(), uuid.uuid4()
    put_on(session, tray=a_tray(), work=work(), stamp=at())
    assert put_on_next(session, worker=None, stamp=at(9), key=key) == put_on_next(
        session, worker=None, stamp=at(9), key=key
    )
    assert Flat.objects.count() == 2


def test_reads_typed_codes_with_the_nearest_help(farm):
    flat = make_flat()
    assert tray_of_code(f" {spoken(flat.code).lower()} ") == flat
    code = issue_code("F")
    PrintedCode.objects.create(code=code, printed_at=NINE)
    assert tray_of_code(code) == code
    wrong = flat.code[:-1] + ("0" if flat.code[-1] != "0" else "1")
    with pytest.raises(ValidationError, match=f"Near it: .*{spoken(flat.code)}"):
        tray_of_code(wrong)
    with pytest.raises(ValidationError, match="begins with F"):
        tray_of_code(make_sowing().code)
    with pytest.raises(ValidationError, match="No flat and no printed label"):
        tray_of_code(issue_code("F"))


def test_taking_off_leaves_the_code_to_be_put_on_again(farm):
    session = make_session()
    run = put_on(session, tray=a_tray(), work=work(), stamp=at())
    flat = Flat.objects.get(pk=run.flat_id)
    take_off(flat, stamp=at(1))
    assert not Run.objects.exists()
    assert Flat.objects.with_stage().get(pk=flat.pk).stage is None
    assert put_on(session, tray=flat, work=work(), stamp=at(2)).flat == flat


def test_a_finished_flat_cannot_be_taken_off(farm):
    run = make_run()
    with pytest.raises(ValidationError, match="a finished flat stays"):
        take_off(run.flat, stamp=at())
    assert run.cells.count() == 72


def test_ending_names_the_unfinished_flats_unless_they_may_stay(farm):
    session = make_session()
    run = put_on(session, tray=a_tray(), work=work(), stamp=at())
    with pytest.raises(ValidationError, match=spoken(run.flat.code)):
        end_session(session, stamp=at(60))
    session.refresh_from_db()
    assert session.ended_at is None
    end_session(session, stamp=at(60), leave_unfinished=True)
    session.refresh_from_db()
    assert session.ended_at == NINE + timedelta(minutes=60)
    run.refresh_from_db()
    assert run.finished_at is None


def test_the_next_flat_may_bear_a_code(farm):
    session, flat, code = make_session(), make_flat(5, 10), issue_code("F")
    PrintedCode.objects.create(code=code, printed_at=NINE)
    put_on(session, tray=a_tray(), work=work(), stamp=at())
    assert put_on_next(session, worker=None, stamp=at(1), code=spoken(flat.code)).flat == flat
    printed = put_on_next(session, worker=None, stamp=at(2), code=code).flat
    assert (printed.code, printed.tray_format) == (code, make_format(5, 10))
    with pytest.raises(ValidationError, match="7 characters"):
        put_on_next(session, worker=None, stamp=at(3), code="F3")
