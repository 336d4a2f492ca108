"""A small yard for tests: places in places, flats that stand in them, and a clock of its own."""

from datetime import timedelta

from nursery.actions.moves import move_flats
from nursery.actions.stamp import Stamp
from nursery.actions.yard import last_moves
from nursery.models import Place, Stage, StageMove
from tests.factories import GRAFTED_AT, make_flat, make_place, make_run


def stamp(hours=0, account=None, worker=None):
    return Stamp.of(GRAFTED_AT + timedelta(hours=hours), account, worker)


def make_yard():
    """Return the places by name: hall > chamber (40) and bench; trolley (20) by the bench; bay (6)."""
    hall = make_place("Hall", kind="room", walk_order=1)
    places = [
        hall,
        make_place("Bench", kind="bench", stands_in=hall, walk_order=2),
        make_place("Chamber", kind="chamber", stands_in=hall, capacity_flats=40, walk_order=3),
        make_place("Bay", kind="bay", capacity_flats=6, walk_order=4),
        make_place("Trolley", kind="trolley", stands_in=hall, capacity_flats=20, walk_order=5),
        make_place("Small trolley", kind="trolley", capacity_flats=4, walk_order=6),
    ]
    return {place.name: place for place in places}


def grafted(number, *, session=None, place=None):
    """Finished flats of one graft each that stand at the bench."""
    flats = [make_run(make_flat(), places=[1], session=session).flat for _ in range(number)]
    for flat in flats:
        StageMove.objects.create(flat=flat, stage=Stage.BENCH, place=place, **stamp().fields())
    return flats


def put(flats, place, hours=1, **options):
    return move_flats(flats, to_place=place, stamp=stamp(hours), **options)


def where(flats):
    """Return place and stage of each flat, as they are now."""
    moves = {move.flat_id: move for move in last_moves().select_related("place")}
    known = [moves.get(flat.pk) for flat in flats]
    return [(move.place and move.place.name, move.stage) if move else (None, None) for move in known]


def insides():
    """Return what every place stands in."""
    return dict(Place.objects.values_list("name", "stands_in__name"))
