"""Whatever happens to some flats in any order, no plant is lost and none is doubled.

Beside the program a small world of plants is kept, each an object that stands somewhere, dead or alive.
People do to both what growers do. The world knows which plant is which; the program what it was told.
"""

import random
from collections import Counter
from datetime import UTC, datetime, timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from django.db import transaction
from hypothesis import given
from hypothesis import strategies as st

from nursery.actions.batch import Batch, CheckIn, ClosingIn, MarkIn, Sender
from nursery.actions.bench import Tray
from nursery.actions.counting import recount_flats
from nursery.actions.leaving import Goal, discard_flat, let_all_leave, let_leave, let_leave_by_number
from nursery.actions.marks import receive_batch
from nursery.actions.moving import begin_flat, move_by_number, move_cells, put_together
from nursery.actions.recount import differences
from nursery.actions.regraft import free_places, regraft
from nursery.actions.stamp import Stamp
from nursery.actions.states import flat_states
from nursery.actions.stock import flat_stock
from nursery.actions.undo_leaving import undo_discard, undo_leaving
from nursery.actions.work import Work
from nursery.models import Cell, Check, DayCount, NumberCount, Run
from tests.actions.test_merge import examples
from tests.factories import make_flat, make_run

pytestmark = pytest.mark.django_db
ROWS, COLUMNS = 2, 4
START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


class Plant:
    """One graft. ``flat`` is None once it has left the farm."""

    def __init__(self, run, flat, place):
        self.run, self.grafted_in, self.flat, self.place, self.is_dead = run, flat, flat, place, False


class World:
    """Three flats of eight places and a pooled one, told and as plants; ``rng`` says what happens."""

    def __init__(self, rng):
        self.rng, self.now = rng, START
        self.plants, self.flats, self.stood, self.acts = [], [], Counter(), []
        self.newest = {}  # who came last into each place of each flat
        for _ in range(3):
            flat = make_flat(ROWS, COLUMNS)
            run = make_run(flat, places=range(1, 8))  # the last place is blank
            self.flats.append(flat)
            for place in range(1, 8):
                self.add(Plant(run.pk, flat.pk, place))
        like = self.flats[0]
        tray = Tray(tray_format=like.tray_format, layout=like.layout)
        self.pool = begin_flat(tray, like=like, is_pooled=True, stamp=self.stamp())
        recount_flats([flat.pk for flat in self.flats])

    def add(self, plant):
        self.plants.append(plant)
        self.stood[plant.flat, plant.run] += 1
        self.newest[plant.flat, plant.place] = plant

    def stamp(self):
        return Stamp.of(self.now)

    def living(self, flat):
        return [plant for plant in self.plants if plant.flat == flat.pk and not plant.is_dead]

    def some(self, things):
        return self.rng.sample(things, self.rng.randint(1, min(4, len(things)))) if things else []

    def move(self, plant, flat, place=None):
        plant.flat = flat and flat.pk
        if flat:
            plant.place = place
            self.stood[flat.pk, plant.run] += 1
            self.newest[flat.pk, place] = plant

    # --- what happens

    def time_passes(self):
        self.now += timedelta(days=self.rng.randint(1, 4))

    def plants_die(self):
        for plant in self.some(self.living(self.rng.choice(self.flats))):
            plant.is_dead = True

    def whole_check(self):
        flat = self.rng.choice(self.flats)
        self.look(flat, "whole", range(1, ROWS * COLUMNS + 1))

    def known_flat(self):
        """A flat at which somebody has just looked: what is dead in it is known."""
        flat = self.rng.choice(self.flats)
        self.look(flat, "whole", range(1, ROWS * COLUMNS + 1))
        return flat

    def part_check(self):
        self.look(self.rng.choice(self.flats), "part", range(1, COLUMNS + 1))

    def look(self, flat, kind, places):
        """Tap every dead plant in ``places`` that the flat does not show dead yet."""
        here = [self.newest.get((flat.pk, place)) for place in places]
        dead = {plant.place for plant in here if plant and plant.flat == flat.pk and plant.is_dead}
        seen = places if kind == "part" else ()
        check = CheckIn(uuid4(), flat.code, self.now, kind=kind, seen_places=tuple(seen))
        cells = [cell for cell in flat_states(flat, day=self.now.date()).values() if cell.is_present]
        taps = [c for c in cells if c.place_no in places and c.place_no in dead and c.state != "dead"]
        marks = [
            MarkIn(uuid4(), check.uuid, c.place_no, c.graft_no, "dead", self.now, replaces=c.open_uuids)
            for c in taps
        ]
        closing = ClosingIn(uuid4(), check.uuid, self.now)
        receive_batch(Batch(self.now, None, [check], marks, [closing]), Sender(None, None, self.now))

    def count_by_number(self):
        flat = self.rng.choice([*self.flats, self.pool])
        check = Check.objects.create(
            flat=flat, day=self.now.date(), kind="numbers", is_closed=True, opened_at=self.now,
            raw_opened_at=self.now, received_at=self.now,
        )  # fmt: skip
        close = ClosingIn(uuid4(), check.uuid, self.now)
        receive_batch(Batch(self.now, None, [], [], [close]), Sender(None, None, self.now))
        dead = Counter(plant.run for plant in self.plants if plant.flat == flat.pk and plant.is_dead)
        for run in {plant.run for plant in self.plants if plant.flat == flat.pk}:
            NumberCount.objects.create(check_ref=check, run_id=run, dead_count=dead[run])
        recount_flats([flat.pk])

    def leave_by_cells(self):
        flat = self.rng.choice(self.flats)
        going = self.some(self.living(flat))
        leaving = let_leave(flat, places=[p.place for p in going], reason="sold", stamp=self.stamp())
        self.went(leaving, going)

    def leave_by_number(self):
        flat = self.rng.choice([*self.flats, self.pool])
        going = self.some(self.living(flat))
        numbers = Counter(plant.run for plant in going)
        leaving = let_leave_by_number(flat, numbers=numbers, reason="planted", stamp=self.stamp())
        self.went(leaving, going)

    def all_leave(self):
        flat = self.known_flat()
        going = self.living(flat)
        let_all_leave([flat], goal=Goal("sold", "market"), stamp=self.stamp())
        self.went(flat.leavings.order_by("-pk").first(), going)

    def went(self, leaving, plants):
        self.acts.append((leaving, plants, leaving.flat))
        for plant in plants:
            self.move(plant, None)

    def pool_some(self):
        flat = self.rng.choice(self.flats)
        going = self.some(self.living(flat))
        numbers = Counter(plant.run for plant in going)
        move_by_number(flat, numbers=numbers, target=self.pool, stamp=self.stamp())
        for plant in going:
            self.move(plant, self.pool)

    def move_some(self):
        source, target = self.rng.sample(self.flats, 2)
        going = self.some(self.living(source))
        free = list(free_places(target, self.stamp()))
        goals = self.rng.sample(free, min(len(free), len(going)))
        places = [plant.place for plant in going]
        move_cells(source, places=places, target=target, to_places=goals, stamp=self.stamp())
        for plant, place in zip(going, goals, strict=True):
            self.move(plant, target, place)

    def put_flats_together(self):
        for flat in self.flats:
            self.look(flat, "whole", range(1, ROWS * COLUMNS + 1))
        put_together(self.flats, stamp=self.stamp())
        moved = {cell.moved_from_id: cell for cell in Cell.objects.filter(came_by__at=self.now)}
        by_pk = {flat.pk: flat for flat in self.flats}
        for old in Cell.objects.filter(pk__in=moved):
            plant = next(
                p for p in self.plants if (p.flat, p.place, p.is_dead) == (old.flat_id, old.place_no, False)
            )
            self.move(plant, by_pk[moved[old.pk].flat_id], moved[old.pk].place_no)

    def graft_again(self):
        flat = self.rng.choice(self.flats)
        places = self.some(list(free_places(flat, self.stamp())))
        work = Work.of(Run.objects.named().filter(flat=flat).first())
        run = regraft(flat, places=places, session=None, work=work, stamp=self.stamp())
        for place in places:
            self.add(Plant(run.pk, flat.pk, place))

    def discard(self):
        flat = self.known_flat()
        is_loss = self.rng.random() < 0.5
        going = self.living(flat)
        discard_flat(flat, is_loss=is_loss, stamp=self.stamp())
        for plant in going:
            if is_loss:
                plant.is_dead = True
            else:
                self.move(plant, None)
        if self.rng.random() < 0.5:
            undo_discard(flat, stamp=self.stamp())
            for plant in going:
                plant.is_dead, plant.flat = False, flat.pk

    def undo(self):
        leaving, plants, flat = self.rng.choice(self.acts)
        undo_leaving(leaving, stamp=self.stamp())
        self.acts.remove((leaving, plants, flat))
        for plant in plants:
            plant.flat = flat.pk

    def late_mark(self):
        """A tablet that slept says of any cell what it likes."""
        cell = self.rng.choice(list(Cell.objects.filter(moved_to__isnull=False)) or [None])
        if cell is None:
            return
        check = CheckIn(uuid4(), cell.flat.code, self.now)
        mark = MarkIn(uuid4(), check.uuid, cell.place_no, cell.graft_no, "dead", self.now)
        receive_batch(Batch(self.now, None, [check], [mark], []), Sender(None, None, self.now))

    HAPPENINGS = (
        "time_passes", "plants_die", "plants_die", "whole_check", "part_check", "count_by_number",
        "leave_by_cells", "leave_by_number", "all_leave", "pool_some", "move_some", "put_flats_together",
        "graft_again", "discard", "undo", "late_mark",
    )  # fmt: skip


def happen(world, name):
    """Let one thing happen; what the program refuses, happens to neither."""
    plants = [(plant, plant.flat, plant.place, plant.is_dead) for plant in world.plants]
    stood, newest, many = world.stood.copy(), world.newest.copy(), len(world.plants)
    try:
        with transaction.atomic():
            getattr(world, name)()
    except (ValidationError, ValueError, IndexError, StopIteration):
        del world.plants[many:]
        world.stood, world.newest = stood, newest
        for plant, flat, place, is_dead in plants:
            plant.flat, plant.place, plant.is_dead = flat, place, is_dead
        return False
    return True


def require_same(world):
    """Compare every flat's stock with the world's plants."""
    for flat in [*world.flats, world.pool]:
        stock = flat_stock(flat)
        assert {run for where, run in world.stood if where == flat.pk} == set(stock)
        for run, said in stock.items():
            here = [plant for plant in world.plants if (plant.flat, plant.run) == (flat.pk, run)]
            assert said.alive + said.dead + said.gone == said.total == world.stood[flat.pk, run]
            assert said.gone == world.stood[flat.pk, run] - len(here)
            assert said.dead <= sum(plant.is_dead for plant in here)
    for count in DayCount.objects.all():
        assert count.alive + count.dead + count.gone == count.seen <= count.grafted


def require_every_death_known(world):
    """After a look at every flat the dead are known to the plant."""
    for flat in world.flats:
        world.look(flat, "whole", range(1, ROWS * COLUMNS + 1))
        for run, said in flat_stock(flat).items():
            here = [plant for plant in world.plants if (plant.flat, plant.run) == (flat.pk, run)]
            assert (said.alive, said.dead) == (
                sum(not plant.is_dead for plant in here),
                sum(plant.is_dead for plant in here),
            )


def test_no_plant_is_lost_or_doubled(farm, whole):
    done = Counter()

    @examples(8, many=1500, whole=whole)
    @given(seed=st.integers(0, 2**32), length=st.integers(5, 25))
    def holds(seed, length):
        rng = random.Random(seed)
        with transaction.atomic():
            world = World(rng)
            for _ in range(length):
                name = rng.choice(world.HAPPENINGS)
                done[name] += happen(world, name)
                require_same(world)
            assert list(differences()) == []
            world.time_passes()
            require_every_death_known(world)
            transaction.set_rollback(True)

    holds()
    assert min(done[name] for name in World.HAPPENINGS) > 0, done  # each really happened
