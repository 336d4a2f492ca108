"""Flats to which something happened: each story is one flat, named in its note."""

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta

from nursery.actions.batch import CheckIn
from nursery.actions.demo.cast import RECIPES, Cast
from nursery.actions.demo.check import Look, check_flat, mark_of, send
from nursery.actions.demo.play import Played, Shift, begin, check, finish, graft, move, on_pairing
from nursery.actions.leaving import discard_flat, let_leave, sever
from nursery.actions.regraft import regraft
from nursery.actions.sessions import end_session, start_session
from nursery.actions.states import CellState, flat_states
from nursery.actions.work import Work
from nursery.models import Flat, Run, State

AMBER, RUBY, AMBER_TALLOW, _RUBY_TALLOW, PLUM, PEPPER, CUCUMBER, _DRUM, TONGUE = RECIPES


def mixed(cast: Cast, shift: Shift) -> Played:
    """Two scions on one rootstock in one flat."""
    run = begin(cast, shift, AMBER, worker=cast.workers["Teal"], started=cast.at(shift.day, 9))
    on_pairing(run, Work.of(run), cast, RUBY, minutes=30)
    played = finish(cast, shift, run.flat, AMBER)
    return _checked(cast, played)


def taken_over(cast: Cast, shift: Shift) -> Played:
    """Wren takes over in the middle of a flat with blanks."""
    return _checked(cast, graft(cast, shift, AMBER, order=1, over_at=31, blanks=3))


def grafted_again(cast: Cast, shift: Shift) -> Played:
    """Dead plants grafted again on day 7; the first grafts stay dead."""
    played = graft(cast, shift, RUBY, order=1)
    move(cast, played)
    look = check(cast, played, after=7)
    assert look is not None
    dead = _places(cast, played, shift.day + 7, dead=True)
    session = start_session(stamp=cast.stamp(look.at), place=cast.places["Bench 2"], key=cast.uuid())
    work = Work.of(Run.objects.named().get(flat=played.flat)).by(cast.workers["Wren"])
    regraft(
        played.flat, places=dead, session=session, work=work,
        stamp=cast.stamp(look.at + timedelta(hours=2), cast.workers["Wren"]),
    )  # fmt: skip
    end_session(session, stamp=cast.stamp(look.at + timedelta(hours=3)))
    # The plants grafted again live on, so their places have no fate any more.
    played.fates = {place: fate for place, fate in played.fates.items() if place not in dead}
    check(cast, played, after=14)
    check(cast, played, after=21)
    return played


def disagreed(cast: Cast, shift: Shift) -> Played:
    """Two tablets, neither knowing of the other: one says wilting, the other dead."""
    played = graft(cast, shift, PLUM, order=1)
    move(cast, played)
    check(cast, played, after=7)
    check(cast, played, after=14)
    cell = _cell(cast, played, _first_taken(played))
    for name, state in (("Juniper", State.WILTING), ("Ash", State.DEAD)):
        look = Look(played.flat, cast.at(shift.day + 15, 9), cast.workers[name], cast.uuid())
        opened = CheckIn(cast.uuid(), played.flat.code, look.at, worker=look.worker.key)
        send(cast, look, checks=[opened], marks=[mark_of(cast, opened, cell, state=state)])
    return played


def amended(cast: Cast, shift: Shift) -> Played:
    """A mark that reached the book a day after its check was closed."""
    played = graft(cast, shift, AMBER_TALLOW, order=1)
    move(cast, played)
    check(cast, played, after=7)
    look = Look(played.flat, cast.at(shift.day + 14, 9), cast.workers["Ash"], cast.uuid())
    opened = check_flat(cast, look, lambda cell: None)
    cell = _cell(cast, played, _first_taken(played))
    late = replace(look, at=look.at + timedelta(days=1))
    mark = replace(mark_of(cast, opened, cell, state=State.DEAD, cause="rot"), at=look.at)
    send(cast, late, marks=[mark])
    return played


def lost(cast: Cast, shift: Shift) -> Played:
    """A flat that stood open over noon and was thrown out."""
    played = graft(cast, shift, CUCUMBER, order=1)
    move(cast, played, days=5)
    check(cast, played, after=3)
    discard_flat(
        played.flat, is_loss=True, reason="Cover left open over noon",
        stamp=cast.stamp(cast.at(shift.day + 5, 15), cast.workers["Juniper"]),
    )  # fmt: skip
    return played


def left_early(cast: Cast, shift: Shift) -> Played:
    """Six plants went as samples on day 4: too soon to say that they took."""
    played = graft(cast, shift, PEPPER, order=1)
    move(cast, played)
    let_leave(
        played.flat, places=played.places[:6], reason="sample",
        stamp=cast.stamp(cast.at(shift.day + 4, 10), cast.workers["Teal"]),
    )  # fmt: skip
    check(cast, played, after=7)
    check(cast, played, after=14)
    return played


def left_late(cast: Cast, shift: Shift) -> Played:
    """Thirty plants were sold on day 12: they count as alive."""
    played = graft(cast, shift, AMBER, order=1)
    move(cast, played)
    check(cast, played, after=7)
    living = _places(cast, played, shift.day + 12, dead=False)
    let_leave(
        played.flat, places=living[:30], reason="sold",
        stamp=cast.stamp(cast.at(shift.day + 12, 10), cast.workers["Teal"]),
    )  # fmt: skip
    check(cast, played, after=14)
    return played


def severed(cast: Cast, shift: Shift) -> Played:
    """A tongue approach: its take counts from the second cut on day 7."""
    played = graft(cast, shift, TONGUE, order=1)
    move(cast, played)
    sever(
        played.flat.runs.get(), severed_on=cast.day(shift.day + 7),
        stamp=cast.stamp(cast.at(shift.day + 7, 10), cast.workers["Wren"]),
    )  # fmt: skip
    check(cast, played, after=14)
    check(cast, played, after=21)
    return played


STORIES: list[tuple[Callable[[Cast, Shift], Played], int, str]] = [
    (mixed, -40, "Mixed flat: two scions"),
    (taken_over, -36, "Hand-over at C7, three blanks"),
    (grafted_again, -47, "Dead plants grafted again"),
    (disagreed, -33, "Two tablets disagree"),
    (amended, -30, "Check amended after closing"),
    (lost, -27, "Discarded as a loss"),
    (left_early, -37, "Samples left early"),
    (left_late, -29, "Plants sold on day 12"),
    (severed, -50, "Tongue approach, severed on day 7"),
]


def tell_stories(cast: Cast) -> None:
    """Play every story in a session of its own and write its name on the flat."""
    for story, day, note in STORIES:
        session = start_session(stamp=cast.stamp(cast.at(day, 8)), place=cast.places["Bench 1"])
        played = story(cast, Shift(session, day))
        end_session(session, stamp=cast.stamp(cast.at(day, 13)))
        Flat.objects.filter(pk=played.flat.pk).update(note=note)


def _checked(cast: Cast, played: Played) -> Played:
    move(cast, played)
    check(cast, played, after=7)
    check(cast, played, after=14)
    return played


def _first_taken(played: Played) -> int:
    return next(place for place in played.places if played.fates[place].dies_on > 99)


def _cell(cast: Cast, played: Played, place: int) -> CellState:
    cells = flat_states(played.flat, day=cast.today).values()
    return next(cell for cell in cells if cell.place_no == place and cell.is_present)


def _places(cast: Cast, played: Played, day: int, *, dead: bool) -> list[int]:
    """Return the places whose plant is dead, or is not, by the farm's day ``day``."""
    cells = flat_states(played.flat, day=cast.day(day)).values()
    return [cell.place_no for cell in cells if (cell.state == State.DEAD) == dead]
