"""Stories of plants that left, alive or not: by cells, by number, whole flats, in parts, and taken back."""

from nursery.actions.demo.cast import AMBER, AMBER_TALLOW, CUCUMBER, PEPPER, PLUM, RUBY, Cast
from nursery.actions.demo.last_season import sell
from nursery.actions.demo.play import Shift, check, graft, move
from nursery.actions.demo.scenes import grown, leave, stamp_on
from nursery.actions.leaving import Goal, discard_flat, let_leave_by_number
from nursery.actions.undo_leaving import undo_leaving
from nursery.models import Flat


def in_parts(cast: Cast, shift: Shift) -> list[Flat]:
    """To three destinations in three weeks; some still stand."""
    played = grown(cast, shift, AMBER)
    leave(cast, played, 24, after=16, reason="sold", destination="Sallow Bridge market")
    leave(cast, played, 18, after=20, reason="planted", destination="Tunnel 2, bed 4")
    leave(cast, played, 10, after=23, reason="sold", destination="Pennywort boxes")
    return [played.flat]


def by_number(cast: Cast, shift: Shift) -> list[Flat]:
    """Two people grafted it, and so many plants of each were sold; which ones nobody wrote down."""
    played = grown(cast, shift, AMBER_TALLOW, over_at=37)
    first, second = played.flat.runs.order_by("number")
    let_leave_by_number(
        played.flat, numbers={first.pk: 20, second.pk: 12}, goal=Goal("sold", "Dovecote field"),
        stamp=stamp_on(cast, played, 18),
    )  # fmt: skip
    return [played.flat]


def whole_flats(cast: Cast, shift: Shift) -> list[Flat]:
    """Three flats to one customer, in one touch."""
    flats = [grown(cast, shift, recipe) for recipe in (RUBY, AMBER, RUBY)]
    sell(cast, flats, after=21, customer="Dovecote field")
    return [played.flat for played in flats]


def left_early(cast: Cast, shift: Shift) -> list[Flat]:
    """Six plants went as samples on day 4: too soon to say that they took."""
    played = graft(cast, shift, PEPPER)
    move(cast, played)
    leave(cast, played, 6, after=4, reason="sample", destination="Plant clinic")
    check(cast, played, after=7)
    check(cast, played, after=14)
    return [played.flat]


def left_late(cast: Cast, shift: Shift) -> list[Flat]:
    """Thirty plants were sold on day 12: they count as alive."""
    played = graft(cast, shift, AMBER)
    move(cast, played)
    check(cast, played, after=7)
    leave(cast, played, 30, after=12, reason="sold", destination="Sallow Bridge market")
    check(cast, played, after=14)
    return [played.flat]


def taken_back(cast: Cast, shift: Shift) -> list[Flat]:
    """Sold, and not fetched: the leaving was taken back the same evening."""
    played = grown(cast, shift, RUBY)
    leaving = leave(cast, played, 20, after=17, reason="sold", destination="Pennywort boxes")
    undo_leaving(leaving, stamp=stamp_on(cast, played, 17, hour=18), reason="Nobody came to fetch them")
    return [played.flat]


def lost(cast: Cast, shift: Shift) -> list[Flat]:
    """A flat that stood open over noon and was thrown out."""
    played = graft(cast, shift, CUCUMBER)
    move(cast, played, days=5)
    check(cast, played, after=3)
    stamp = stamp_on(cast, played, 5, hour=15, by="Juniper")
    discard_flat(played.flat, is_loss=True, reason="Cover left open over noon", stamp=stamp)
    return [played.flat]


def surplus(cast: Cast, shift: Shift) -> list[Flat]:
    """Plants that nobody needed: healthy, and discarded all the same."""
    played = grown(cast, shift, PLUM)
    stamp = stamp_on(cast, played, 24, hour=15, by="Juniper")
    discard_flat(played.flat, is_loss=False, reason="More than anybody ordered", stamp=stamp)
    return [played.flat]
