"""How the cuts of the take are called on its page."""

from dataclasses import dataclass

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from nursery.models.takes import TakeBy


@dataclass(frozen=True, slots=True)
class CutWords:
    """The pill, the heading of the page, the head of the column, and the cut that a row leads on to."""

    pill: str | Promise
    heading: str | Promise
    column: str | Promise
    onward: TakeBy


CUT_WORDS: dict[TakeBy, CutWords] = {
    TakeBy.PAIRING: CutWords(_("Pairing"), _("Which pairings took"), _("Pairing"), TakeBy.SCION_LOT),
    TakeBy.METHOD: CutWords(_("Method"), _("Which methods took"), _("Method"), TakeBy.PAIRING),
    TakeBy.SCION_LOT: CutWords(
        _("Scion lot"), _("Which scion lots took"), _("Scion lot"), TakeBy.ROOTSTOCK_LOT
    ),
    TakeBy.ROOTSTOCK_LOT: CutWords(
        _("Rootstock lot"), _("Which rootstock lots took"), _("Rootstock lot"), TakeBy.SCION_LOT
    ),
    TakeBy.SESSION: CutWords(_("Session"), _("How each session took"), _("Session"), TakeBy.PAIRING),
    TakeBy.PLACE: CutWords(_("Place"), _("Where grafts took"), _("Healed in"), TakeBy.PAIRING),
    TakeBy.ROOTS: CutWords(_("Roots"), _("On own roots or restuck"), _("Roots"), TakeBy.PAIRING),
    TakeBy.GRAFTER: CutWords(_("Grafter"), _("Whose grafts took"), _("Grafter"), TakeBy.PAIRING),
}
NOTES: dict[TakeBy, str | Promise] = {
    TakeBy.PLACE: _(
        "A flat healed in the place it first came to after the bench; on a trolley, where that stood."
    ),
    TakeBy.SCION_LOT: _(
        "A graft whose run drew on several scion lots is “mixed”: nobody knows which was which."
    ),
    TakeBy.ROOTSTOCK_LOT: _(
        "A graft whose run drew on several rootstock lots is “mixed”: nobody knows which was which."
    ),
    TakeBy.SESSION: _("A session is a shift at a bench; grafts told without one are “not recorded”."),
}
