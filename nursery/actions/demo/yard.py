"""Where things stand now: trolleys that were pushed through the chambers, and one chamber too full."""

from nursery.actions.demo.cast import AMBER, RUBY, Cast
from nursery.actions.demo.play import Played, Shift, check, graft
from nursery.actions.moves import move_flats, move_place
from nursery.models import Flat, Stage

# The day on which a trolley's flats were grafted, and where it was pushed on which day after.
ROUNDS = {
    -13: (
        "Trolley 1",
        ((0, "Chamber", None), (5, "Warm bay", Stage.ACCLIMATION), (10, "Cool bay", Stage.GROWING_ON)),
    ),
    -8: ("Trolley 2", ((0, "Chamber", None), (5, "Warm bay", Stage.ACCLIMATION))),
    -3: ("Trolley 3", ((0, "Small chamber", None),)),
}


def on_trolley(cast: Cast, shift: Shift) -> list[Flat]:
    """Four flats of one session went on a trolley together, and were looked at a week later."""
    flats = [graft(cast, shift, recipe) for recipe in (AMBER, RUBY, AMBER, RUBY)]
    push(cast, flats)
    for played in flats:
        check(cast, played, after=7)
    return [played.flat for played in flats]


def too_many(cast: Cast, shift: Shift) -> list[Flat]:
    """Three flats stood in the small chamber, with room for six, when the trolley came with four more."""
    early = [graft(cast, shift, recipe) for recipe in (RUBY, AMBER, RUBY)]
    noon = cast.stamp(cast.at(shift.day, 12, 30))
    move_flats([played.flat for played in early], to_place=cast.places["Small chamber"], stamp=noon)
    late = [graft(cast, shift, recipe) for recipe in (AMBER, RUBY, AMBER, RUBY)]
    push(cast, late)
    return [played.flat for played in (*late, *early)]


def push(cast: Cast, flats: list[Played]) -> None:
    """Put the flats of one day on that day's trolley and push it through the places."""
    day = flats[0].day
    name, rounds = ROUNDS[day]
    trolley = cast.places[name]
    loaded = cast.stamp(cast.at(day, 13, 30), cast.workers["Ash"])
    move_flats([played.flat for played in flats], to_place=trolley, stamp=loaded)
    for after, into, stage in rounds:
        stamp = cast.stamp(cast.at(day + after, 14), cast.workers["Ash"])
        move_place(trolley, into=cast.places[into], stage=stage, stamp=stamp)
