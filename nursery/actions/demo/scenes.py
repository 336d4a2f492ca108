"""What the stories of the invented season have in common."""

from collections.abc import Callable
from datetime import timedelta

from nursery.actions.bench import Tray
from nursery.actions.demo.cast import Cast, Recipe, tray
from nursery.actions.demo.check import Look, Says
from nursery.actions.demo.play import Played, Shift, check, graft, move
from nursery.actions.leaving import Goal, let_leave
from nursery.actions.regraft import regraft
from nursery.actions.sessions import end_session, start_session
from nursery.actions.stamp import Stamp
from nursery.actions.states import CellState, flat_states
from nursery.actions.work import Work
from nursery.models import Flat, Leaving, Run, State

Story = Callable[[Cast, Shift], list[Flat]]  # the first flat bears the story's name, the others a number


def grown(cast: Cast, shift: Shift, recipe: Recipe, **how: int) -> Played:
    """Graft a flat, take it through the places, and check it a week and two weeks later."""
    played = graft(cast, shift, recipe, **how)
    move(cast, played)
    return looked_at(cast, played)


def looked_at(cast: Cast, played: Played) -> Played:
    check(cast, played, after=7)
    check(cast, played, after=14)
    return played


def stamp_on(cast: Cast, played: Played, after: int, *, hour: int = 10, by: str = "Teal") -> Stamp:
    """Return a stamp ``after`` days after the grafting of a flat."""
    return cast.stamp(cast.at(played.day + after, hour), cast.workers[by])


def look_on(cast: Cast, played: Played, after: int, *, by: str = "Juniper", hour: int = 9) -> Look:
    return Look(played.flat, cast.at(played.day + after, hour), cast.workers[by], cast.uuid())


def living(cast: Cast, played: Played, after: int) -> list[int]:
    """Return the places whose plant lives ``after`` days after grafting, in their order."""
    return _places(cast, played, after, State.FIRM, State.WILTING, State.UNMARKED)


def dead(cast: Cast, played: Played, after: int) -> list[int]:
    return _places(cast, played, after, State.DEAD)


def cell_in(cast: Cast, flat: Flat, place: int) -> CellState:
    """Return what stands in a place now."""
    cells = flat_states(flat, day=cast.today).values()
    return next(cell for cell in cells if cell.place_no == place and cell.is_present)


def taken_after(played: Played, place: int = 0) -> int:
    """Return the first place after ``place`` whose plant never dies."""
    return next(one for one in played.places if one > place and played.fates[one].dies_on > 99)


def says_of(places: dict[int, tuple[str, str]]) -> Says:
    """Say state and cause of the cells in these places, and nothing of the others."""
    return lambda cell: places.get(cell.place_no)


def new_tray(cast: Cast, rows: int, columns: int) -> Tray:
    tray_format, layout = tray(rows, columns)
    return Tray(tray_format, layout, cast.code())


def graft_again(cast: Cast, played: Played, places: list[int], *, after: int) -> Run:
    """Graft in ``places``, on another bench and by somebody else than whoever grafted the flat."""
    first = Run.objects.named().filter(flat=played.flat).order_by("number")[0]
    other = cast.workers["Wren" if first.worker != cast.workers["Wren"] else "Juniper"]
    at = cast.at(played.day + after, 11)
    session = start_session(stamp=cast.stamp(at), place=cast.places["Bench 2"], key=cast.uuid())
    stamp = cast.stamp(at + timedelta(minutes=20), other)
    run = regraft(played.flat, places=places, session=session, work=Work.of(first).by(other), stamp=stamp)
    end_session(session, stamp=cast.stamp(at + timedelta(minutes=30)))
    # The plants grafted again live on, so their places have no fate any more.
    played.fates = {place: fate for place, fate in played.fates.items() if place not in places}
    return run


def leave(
    cast: Cast, played: Played, number: int, *, after: int, reason: str, destination: str = ""
) -> Leaving:
    """Let the first ``number`` living plants leave ``after`` days after grafting."""
    places = living(cast, played, after)[:number]
    goal = Goal(reason, destination)
    return let_leave(played.flat, places=places, goal=goal, stamp=stamp_on(cast, played, after))


def _places(cast: Cast, played: Played, after: int, *states: str) -> list[int]:
    cells = flat_states(played.flat, day=cast.day(played.day + after)).values()
    return sorted(cell.place_no for cell in cells if cell.is_present and cell.state in states)
