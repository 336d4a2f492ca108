"""The second flat of one label."""

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError

from nursery.actions.recount import differences
from nursery.actions.stamp import Stamp
from nursery.actions.twins import add_twin
from nursery.models import Change, Flat, Run, RunSowing, StageMove
from tests.actions.test_marks import DAY_14
from tests.actions.test_mending import look, states
from tests.factories import GRAFTED_AT, make_flat, make_lot, make_place, make_run, make_sowing, make_worker

pytestmark = pytest.mark.django_db
STAMP = Stamp.of(DAY_14 + timedelta(days=1))


@pytest.fixture
def flat(farm):
    flat = make_flat(blank_places=[72])
    run = make_run(flat, places=range(1, 37), worker=make_worker("Ida"))
    make_run(flat, places=range(37, 72))
    sowing = make_sowing(make_lot(run.pairing.scion))
    RunSowing.objects.create(run=run, sowing=sowing, side="scion")
    return flat


def test_it_was_grafted_like_the_first_and_is_alive_all_over(flat):
    look(flat, states={1: "dead", 40: "dead"})
    twin = add_twin(flat, stamp=STAMP)
    assert twin.code != flat.code and twin.blank_places == [72]
    first, second = twin.runs.order_by("number")
    assert (first.worker.name, first.cells.count(), second.cells.count()) == ("Ida", 36, 35)
    assert list(RunSowing.objects.filter(run=first).values_list("side", flat=True)) == ["scion"]
    assert (first.grafted_on, first.started_at) == (Run.objects.first().grafted_on, None)
    assert states(twin) == ({}, []) and states(flat)[0] == {1: "dead", 40: "dead"}
    assert list(differences()) == []


def test_it_stands_where_the_first_stands_and_the_book_says_where_it_came_from(flat):
    place = make_place()
    StageMove.objects.create(flat=flat, stage="chamber", place=place, **STAMP.fields())
    twin = add_twin(flat, stamp=STAMP)
    assert Flat.objects.in_stage("chamber").get(pk=twin.pk).place_name == place.name
    change = Change.objects.get()
    assert (change.flat, change.field, change.new) == (twin, "twin", flat.code)


def test_what_is_on_the_bench_or_bears_no_graft_has_no_second(flat):
    make_run(flat, places=(), started_at=GRAFTED_AT, finished_at=None)
    for one in (flat, make_flat(), make_flat(is_pooled=True)):
        with pytest.raises(ValidationError):
            add_twin(one, stamp=STAMP)
    assert not Change.objects.exists()


def test_a_note_that_somebody_else_wrote_survives(flat):
    stale = Flat.objects.get(pk=flat.pk)
    Flat.objects.filter(pk=flat.pk).update(note="by the door")
    add_twin(stale, stamp=STAMP)
    assert Flat.objects.get(pk=flat.pk).note == "by the door"
