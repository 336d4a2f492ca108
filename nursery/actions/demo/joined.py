"""Stories of plants moved together: cell by cell, into larger cells, and by number into a pooled flat."""

from dataclasses import replace

from nursery.actions.demo.cast import AMBER, CUCUMBER, RUBY_TALLOW, Cast
from nursery.actions.demo.check import Look, check_flat
from nursery.actions.demo.play import Shift, print_label
from nursery.actions.demo.scenes import grown, living, new_tray, says_of, stamp_on
from nursery.actions.leaving import Goal, let_leave_by_number
from nursery.actions.moving import move_by_number, put_together
from nursery.actions.moving_out import Moving, move_out
from nursery.actions.numbers import count_by_numbers, runs_standing
from nursery.models import Flat, State


def patchy(cast: Cast, shift: Shift) -> list[Flat]:
    """Three flats with many gaps became two."""
    flats = [grown(cast, shift, replace(RUBY_TALLOW, take=0.58)) for _ in range(3)]
    put_together([played.flat for played in flats], stamp=stamp_on(cast, flats[0], 17))
    return [played.flat for played in flats]


def larger_cells(cast: Cast, shift: Shift) -> list[Flat]:
    """Out of 72 small cells into 50 large ones, and the rest into another tray; one did not like it."""
    played = grown(cast, shift, AMBER)
    stamp = stamp_on(cast, played, 18)
    places = living(cast, played, 18)
    trays = []
    for part in (places[:50], places[50:]):
        moving = Moving(new_tray(cast, 5, 10), places=part, to_places=list(range(1, len(part) + 1)))
        leaving = move_out(played.flat, moving=moving, stamp=stamp)
        assert leaving.to_flat is not None
        trays.append(leaving.to_flat)
        print_label(cast, leaving.to_flat, stamp.at)
    look = Look(trays[0], cast.at(played.day + 22, 9), cast.workers["Ash"], cast.uuid())
    check_flat(cast, look, says_of({7: (State.DEAD, "mechanical")}))
    return [played.flat, *trays]


def pooled(cast: Cast, shift: Shift) -> list[Flat]:
    """Two flats into one crate by number, counted by numbers a few days later, and partly sold."""
    first, second = (grown(cast, shift, CUCUMBER) for _ in range(2))
    numbers = [{played.flat.runs.get().pk: 30} for played in (first, second)]
    stamp = stamp_on(cast, first, 17)
    moving = Moving(new_tray(cast, 6, 12), numbers=numbers[0])
    pool = move_out(first.flat, moving=moving, stamp=stamp).to_flat
    assert pool is not None
    print_label(cast, pool, stamp.at)
    move_by_number(second.flat, numbers=numbers[1], target=pool, stamp=stamp)
    counted = stamp_on(cast, first, 20, by="Ash")
    said = [(2, 1), (1, 0)]
    runs = [run for run, _standing, _dead in runs_standing(pool, counted.at.date())]
    count_by_numbers(pool, uuid=cast.uuid(), numbers=dict(zip(runs, said, strict=True)), stamp=counted)
    sold = Goal("sold", "Sallow Bridge market")
    let_leave_by_number(pool, numbers={runs[0].pk: 15}, goal=sold, stamp=stamp_on(cast, first, 22))
    return [pool, first.flat, second.flat]
