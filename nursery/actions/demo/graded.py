"""Stories of grades: plants looked over at the record or as they left, with one head or two."""

from nursery.actions.demo.cast import AMBER, PEPPER, PLUM, Cast
from nursery.actions.demo.play import Shift
from nursery.actions.demo.scenes import grown, leave, living, stamp_on
from nursery.actions.grading import Graded, record_grading
from nursery.models import Flat


def at_record(cast: Cast, shift: Shift) -> list[Flat]:
    """All that lived on day 14 were graded: six in ten first, a few not worth selling."""
    played = grown(cast, shift, PEPPER)
    run, alive = played.flat.runs.get(), len(living(cast, played, 14))
    first, cull = alive * 6 // 10, 4
    counts = [
        Graded(run.pk, "first", first),
        Graded(run.pk, "second", alive - first - cull),
        Graded(run.pk, "cull", cull),
    ]
    record_grading(played.flat, counts=counts, stamp=stamp_on(cast, played, 14))
    return [played.flat]


def at_leaving(cast: Cast, shift: Shift) -> list[Flat]:
    """Thirty were graded as they were sold; what still stands is not graded yet."""
    played = grown(cast, shift, PLUM)
    leaving = leave(cast, played, 30, after=21, reason="sold", destination="Pennywort boxes")
    run = played.flat.runs.get()
    counts = [Graded(run.pk, "first", 22), Graded(run.pk, "second", 6), Graded(run.pk, "cull", 2)]
    record_grading(played.flat, counts=counts, stamp=stamp_on(cast, played, 21), leaving=leaving)
    return [played.flat]


def two_heads(cast: Cast, shift: Shift) -> list[Flat]:
    """Pinched to two heads: forty-four even, nine not, a few that stayed with one."""
    played = grown(cast, shift, AMBER)
    leaving = leave(cast, played, 58, after=25, reason="planted", destination="Tunnel 3, bed 1")
    run = played.flat.runs.get()
    counts = [
        Graded(run.pk, "first", 44, heads=2, is_even=True),
        Graded(run.pk, "second", 9, heads=2, is_even=False),
        Graded(run.pk, "second", 3),
        Graded(run.pk, "cull", 2),
    ]
    record_grading(played.flat, counts=counts, stamp=stamp_on(cast, played, 25), leaving=leaving)
    return [played.flat]
