"""The addresses of leaving, moving together and grafting again, with something to show at each."""

from django.urls import reverse

from nursery.actions.leaving import Goal, let_all_leave
from nursery.actions.stamp import Stamp
from tests.views.plants import leave_by_number, planted

FORMS_ONLY = {"leave-undo", "leave-act-undo", "discard-undo", "regraft-undo"}


def plant_pages():
    """The addresses looked at, by URL name."""
    flat = planted()
    pairing = flat.runs.get().pairing
    other, gone = (planted(pairing=pairing, places=range(1, 20)) for _each in range(2))
    leaving = leave_by_number(flat, 4)
    act, _count = let_all_leave([gone], goal=Goal("sold", "the market"), stamp=Stamp.now())
    pages = ("leave", "discard", "move-together", "put-together-with", "regraft")
    flats = f"?flat={flat.code}&flat={other.code}"
    return {
        **{name: [reverse(name, args=[flat.code])] for name in pages},
        "leave-flats": [reverse("leave-flats") + flats],
        "leave-act": [reverse("leave-act", args=[act])],
        "leave-which": [reverse("leave-which", args=[flat.code, leaving.uuid])],
        "put-together": [reverse("put-together") + flats],
    }
