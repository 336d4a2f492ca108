"""Flats on which something happened: each story is a flat or a few, named in their notes."""

from itertools import groupby
from operator import itemgetter

from nursery.actions.demo import graded, grafted, joined, left, looked, mended, yard
from nursery.actions.demo.cast import Cast
from nursery.actions.demo.play import Shift
from nursery.actions.demo.scenes import Story
from nursery.actions.sessions import end_session, start_session
from nursery.models import Flat

STORIES: list[tuple[Story, int, str]] = [
    (grafted.severed, -50, "Tongue approach, severed on day 7"),
    (grafted.grafted_again, -47, "Dead plants grafted again"),
    (grafted.filled, -47, "Blanks filled on day 2"),
    (grafted.taken_over, -47, "Hand-over at C7, three blanks"),
    (left.in_parts, -44, "In parts to three destinations"),
    (left.by_number, -44, "Sold by number"),
    (left.surplus, -44, "Discarded as surplus"),
    (grafted.mixed, -40, "Mixed flat: two scions"),
    (grafted.two_lots, -40, "Scions of two lots"),
    (grafted.own_and_restuck, -40, "On own roots, and restuck"),
    (left.left_early, -37, "Samples left early"),
    (left.taken_back, -37, "Sold and taken back"),
    (looked.disagreed, -33, "Two tablets disagree"),
    (looked.settled, -33, "A disagreement settled"),
    (looked.amended, -33, "Check amended after closing"),
    (joined.patchy, -31, "Three patchy flats put together"),
    (left.left_late, -29, "Plants sold on day 12"),
    (left.whole_flats, -29, "Three whole flats sold"),
    (graded.at_leaving, -29, "Graded as they left"),
    (left.lost, -27, "Discarded as a loss"),
    (joined.larger_cells, -27, "Moved into larger cells"),
    (joined.pooled, -27, "Pooled by number"),
    (graded.two_heads, -27, "Two heads, even or not"),
    (mended.corrected, -24, "Wrong lot and person corrected"),
    (mended.given, -24, "Check given to the right flat"),
    (mended.voided, -22, "A check voided"),
    (mended.two_labels, -22, "Label printed twice"),
    (mended.twins, -22, "Two flats under one label"),
    (looked.by_numbers, -20, "Counted by numbers"),
    (looked.reopened, -20, "Closed by accident, opened again"),
    (looked.asked, -20, "Asked to open again"),
    (graded.at_record, -19, "Graded at the record"),
    (looked.half, -15, "Half a check: rows A to C"),
    (yard.on_trolley, -13, "On a trolley through the chambers"),
    (yard.on_trolley, -8, "On a trolley in the warm bay"),
    (yard.too_many, -3, "A chamber over its room"),
]


def tell_stories(cast: Cast) -> None:
    """Play the stories of a day in a session of their own, and write their names on their flats."""
    for day, stories in groupby(STORIES, key=itemgetter(1)):
        session = start_session(stamp=cast.stamp(cast.at(day, 8)), place=cast.places["Bench 1"])
        shift = Shift(session, day)
        for story, _day, note in stories:
            for number, flat in enumerate(story(cast, shift), 1):
                name = note if number == 1 else f"{note} ({number})"
                Flat.objects.filter(pk=flat.pk).update(note=name)
        end_session(session, stamp=cast.stamp(cast.at(day, 14)))
