"""Moving plants together: what is refused, in words, and that nothing is written then."""

from datetime import UTC, datetime

import pytest
from django.core.exceptions import ValidationError

from nursery.actions.bench import Tray
from nursery.actions.leaving import discard_flat
from nursery.actions.moving import begin_flat, move_by_number, move_cells, propose_together, put_together
from nursery.actions.recount import differences
from nursery.actions.regraft import regraft
from nursery.actions.stamp import Stamp
from nursery.actions.undo_leaving import undo_leaving
from nursery.actions.work import Work
from nursery.models import Cell, Leaving, Run, StageMove
from tests.factories import make_flat, make_run

pytestmark = pytest.mark.django_db
STAMP = Stamp.of(datetime(2026, 3, 16, 10, tzinfo=UTC))


@pytest.fixture
def flat(farm):
    """Six of eight places are grafted."""
    return make_run(make_flat(2, 4), places=range(1, 7)).flat


@pytest.fixture
def other(farm):
    return make_run(make_flat(2, 4), places=range(1, 7)).flat


def pool_like(flat):
    tray = Tray(tray_format=flat.tray_format, layout=flat.layout)
    return begin_flat(tray, like=flat, is_pooled=True, stamp=STAMP)


def refused(words, act, *args, **kwargs):
    before = Cell.objects.count(), Leaving.objects.count()
    with pytest.raises(ValidationError, match=words):
        act(*args, stamp=STAMP, **kwargs)
    assert (Cell.objects.count(), Leaving.objects.count()) == before


def test_a_flat_takes_no_plants_of_its_own(flat):
    refused("stand in .* already", move_cells, flat, places=[1], target=flat)


def test_no_more_go_than_there_is_room_for(flat, other):
    refused("has room for 2 plants, not for 3", move_cells, flat, places=[1, 2, 3], target=other)


def test_no_plant_goes_where_one_lives(flat, other):
    refused("a plant lives in A1", move_cells, flat, places=[1], target=other, to_places=[1])


def test_what_does_not_live_does_not_move(flat, other):
    refused("No living plant stands in B4", move_cells, flat, places=[8], target=other)


def test_a_discarded_flat_takes_nothing(flat, other):
    discard_flat(other, is_loss=True, stamp=STAMP)
    refused("was discarded", move_cells, flat, places=[1], target=other)


def test_a_pooled_flat_takes_numbers_and_the_others_cells(flat, other):
    refused("by number", move_cells, flat, places=[1], target=pool_like(flat))
    refused("known cell by cell", move_by_number, flat, numbers={flat.runs.get().pk: 2}, target=other)


def test_a_new_flat_stands_where_the_old_one_stands(flat):
    StageMove.objects.create(flat=flat, stage="acclimation", **STAMP.fields())
    assert pool_like(flat).moves.get().stage == "acclimation"


def test_full_flats_gain_nothing_together(flat, other):
    assert propose_together([flat, other], stamp=STAMP) == {}
    refused("none would become empty", put_together, [flat, other])


def test_each_plant_keeps_its_run_and_its_turn(flat, other):
    run = flat.runs.get()
    move_cells(flat, places=[5, 2], target=other, to_places=[8, 7], stamp=STAMP)
    came = other.cells.filter(run=run).order_by("place_no").values_list("place_no", "order_in_run")
    assert list(came) == [(7, 2), (8, 5)] and list(differences()) == []


def test_a_move_is_not_taken_back_over_a_plant_grafted_since(flat, other):
    leaving = move_cells(flat, places=[1], target=other, stamp=STAMP)
    work = Work.of(Run.objects.named().get(flat=flat))
    regraft(flat, places=[1], session=None, work=work, stamp=STAMP)
    with pytest.raises(ValidationError, match="hold other plants"):
        undo_leaving(leaving, stamp=STAMP)


@pytest.mark.parametrize(("places", "words"), [([1], "A plant lives in A1"), ([], "Choose the places")])
def test_grafts_go_where_no_plant_lives(flat, places, words):
    work = Work.of(Run.objects.named().get())
    refused(words, regraft, flat, places=places, session=None, work=work)


def test_nothing_is_grafted_into_a_pooled_flat(flat):
    work = Work.of(Run.objects.named().get())
    refused("pooled flat", regraft, pool_like(flat), places=[1], session=None, work=work)
