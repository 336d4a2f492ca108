"""Finishing: the cells part the places among the runs; nothing is taken for full without asking."""

from datetime import UTC, datetime, timedelta

import pytest
from django.core.exceptions import ValidationError
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from nursery.actions.bench import Tray, hold_flat, put_on, used_places
from nursery.actions.finishing import finish_flat, set_blanks, undo_finish
from nursery.actions.runs import hand_over
from nursery.actions.stamp import Stamp
from nursery.actions.work import Work
from nursery.models import Cell, Check, Flat, Run, StageMove
from tests.factories import make_format, make_layout, make_pairing, make_session, make_worker

NINE = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def at(minutes=0):
    return Stamp.of(NINE + timedelta(minutes=minutes))


def begin(rows=6, columns=12, pattern="every", skips=False, **fields):
    layout = make_layout(f"{pattern} {skips}", pattern, skips)
    return put_on(
        make_session(),
        tray=Tray(tray_format=make_format(rows, columns), layout=layout),
        work=Work(**{"pairing": make_pairing(), "method": "splice", **fields}),
        stamp=at(),
    )


@pytest.fixture
def run(farm):
    return begin(worker=make_worker("Wren"))


def test_a_full_flat_has_a_cell_in_every_place_in_order(run):
    assert finish_flat(run.flat, blanks=[], stamp=at(25)) == 72
    cells = list(Cell.objects.values_list("place_no", "graft_no", "run", "order_in_run", "is_present"))
    assert cells == [(place, 1, run.pk, place, True) for place in range(1, 73)]
    run.refresh_from_db()
    assert run.finished_at == at(25).at
    assert run.flat.moves.get().stage == "bench"


def test_blanks_get_no_cell_and_no_turn(run):
    assert finish_flat(run.flat, blanks=[1, 3, 72], stamp=at(25)) == 69
    assert list(Cell.objects.values_list("place_no", "order_in_run")[:3]) == [(2, 1), (4, 2), (5, 3)]
    assert Flat.objects.get().blank_places == [1, 3, 72]


def test_a_flat_is_never_taken_for_full_without_asking(run):
    with pytest.raises(ValidationError, match="Say first"):
        finish_flat(run.flat, stamp=at(25))
    set_blanks(run.flat, blanks=[5], stamp=at(20))
    assert finish_flat(run.flat, stamp=at(25)) == 71


def test_two_finish_the_same_flat_and_one_is_told(run):
    stale = Flat.objects.get(pk=run.flat_id)
    finish_flat(run.flat, blanks=[], stamp=at(25))
    with pytest.raises(ValidationError, match="was finished"):
        finish_flat(stale, blanks=[1], stamp=at(26))
    assert Cell.objects.count() == 72
    assert Flat.objects.get().blank_places == []


def test_a_run_closed_between_the_look_and_the_write_is_noticed(run, monkeypatch):
    """The other request has looked as well and writes first: the condition stands in the UPDATE."""

    def other_request(flat):
        held = Run.objects.open().named().get(flat=flat)
        Run.objects.filter(pk=held.pk).update(finished_at=NINE)
        return held

    monkeypatch.setattr("nursery.actions.finishing.run_in_hand", other_request)
    with pytest.raises(ValidationError, match="Someone else changed"), transaction.atomic():
        finish_flat(run.flat, blanks=[], stamp=at(25))
    assert not Cell.objects.exists()


@pytest.mark.parametrize(
    ("blanks", "said"), [(list(range(1, 73)), "Every place would be empty"), ([2], "A2 is not used")]
)
def test_refuses_blanks_that_cannot_be(farm, blanks, said):
    run = begin() if len(blanks) == 72 else begin(pattern="other_cell")
    for act in (set_blanks, finish_flat):
        with pytest.raises(ValidationError, match=said):
            act(run.flat, blanks=blanks, stamp=at(5))
    assert not Cell.objects.exists()
    assert Flat.objects.get().blank_places is None


def test_a_place_outside_the_flat_is_a_programmers_fault(run):
    with pytest.raises(ValueError, match="between 1 and 72"):
        set_blanks(run.flat, blanks=[73], stamp=at(5))


def test_a_run_that_blanks_leave_without_a_plant_is_refused_by_name(run):
    hand_over(run.flat, first_place=71, work=Work.of(run).by(make_worker("Ada")), stamp=at(20))
    with pytest.raises(ValidationError, match="No plant is left from F11 on for Ada"):
        finish_flat(run.flat, blanks=[71, 72], stamp=at(25))
    assert not Cell.objects.exists()


def test_columns_changed_meanwhile_survive(run):
    Run.objects.filter(pk=run.pk).update(clip="1.5 mm")
    Flat.objects.filter(pk=run.flat_id).update(note="Written behind the back")
    finish_flat(run.flat, blanks=[], stamp=at(25))
    run.refresh_from_db()
    assert (run.clip, Flat.objects.get().note) == ("1.5 mm", "Written behind the back")


def test_blanks_are_set_on_the_bench_only(run):
    finish_flat(run.flat, blanks=[], stamp=at(25))
    with pytest.raises(ValidationError, match="not being grafted"):
        set_blanks(run.flat, blanks=[1], stamp=at(26))
    assert Flat.objects.get().blank_places == []


def test_a_finish_can_be_taken_back_until_the_flat_leaves_or_is_checked(run):
    finish_flat(run.flat, blanks=[], stamp=at(25))
    undo_finish(run.flat, stamp=at(26))
    assert not Cell.objects.exists()
    assert finish_flat(run.flat, blanks=[9], stamp=at(27)) == 71
    Check.objects.create(flat=run.flat, day=NINE.date(), opened_at=NINE, raw_opened_at=NINE, received_at=NINE)
    with pytest.raises(ValidationError, match="has been checked"):
        undo_finish(run.flat, stamp=at(28))
    Check.objects.all().delete()
    StageMove.objects.create(flat=run.flat, stage="chamber", **at(30).fields())
    with pytest.raises(ValidationError, match="has left the bench"):
        undo_finish(run.flat, stamp=at(31))
    assert Cell.objects.count() == 71


@given(data=st.data())
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_whatever_the_layout_blanks_and_hand_overs_the_cells_part_the_used_places(farm, data):
    with transaction.atomic():
        run = begin(
            rows=data.draw(st.integers(1, 8)),
            columns=data.draw(st.integers(2, 12)),
            pattern=data.draw(st.sampled_from(["every", "other_cell", "other_row"])),
        )
        flat = hold_flat(run.flat)
        used = used_places(flat)
        starts = data.draw(st.sets(st.sampled_from(used), max_size=4).map(sorted))
        starts = [used[0], *[place for place in starts if place != used[0]]]
        for minute, place in enumerate(starts[1:], 1):
            work = Work.of(run).by(make_worker())
            run = hand_over(flat, first_place=place, work=work, stamp=at(minute))
        # The first place of a run keeps its plant, so that no run is left without one.
        others = [place for place in used if place not in starts]
        blanks = data.draw(st.sets(st.sampled_from(others)) if others else st.just(set()))
        finish_flat(flat, blanks=sorted(blanks), stamp=at(30))
        cells = list(Cell.objects.filter(flat=flat).select_related("run").order_by("place_no"))
        assert [cell.place_no for cell in cells] == [place for place in used if place not in blanks]
        for number, start in enumerate(starts, 1):
            own = [cell for cell in cells if cell.run.number == number]
            end = starts[number] if number < len(starts) else used[-1] + 1
            assert all(start <= cell.place_no < end for cell in own)
            assert [cell.order_in_run for cell in own] == list(range(1, len(own) + 1))
        transaction.set_rollback(True)
