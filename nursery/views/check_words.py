"""What the check's script says. A script has no translations of its own, so the page brings them."""

from django.utils.translation import gettext as _


def check_words() -> dict[str, str]:
    """Return the script's sentences; ``{…}`` is filled in by the script."""
    return {
        "firm": _("alive"),
        "wilting": _("wilting"),
        "dead": _("dead"),
        "gone": _("gone"),
        "deadBefore": _("dead since an earlier check"),
        "deadSince": _("{cell}: dead since {day}."),
        "goneSince": _("{cell}: gone since {day}."),
        "because": _("Cause: {cause}."),
        "disputed": _("{cell}: people disagree. What is it?"),
        "notWilting": _("{cell} was not wilting."),
        "notWiltingRow": _("Nothing is wilting there."),
        "nothing": _("Nothing left to mark there."),
        "alive": _("alive"),
        "ofThem": _("{n} of them wilting"),
        "causeOf": _("Cause of {cell}:"),
        "causeOfMany": _("Cause of {n} cells:"),
        "causeOfAll": _("Cause for the whole check:"),
        "saved": _("All saved"),
        "unsentOne": _("1 mark not sent yet"),
        "unsentMany": _("{n} marks not sent yet"),
        "closing": _("Closing"),
        "waits": _("Closes as soon as it is sent"),
        "forbidden": _("Not sent: this login may not mark flats"),
        "malformed": _("Not sent: load the page again"),
        "refused": _("{cell} was not taken: {reason}"),
        "notTapped": _("{n} not tapped count as dead."),
        "notSeen": _("not seen"),
        "ofSeen": _("of {n} seen"),
        "choosePart": _("Touch the rows you saw, or the cell where you stopped."),
        "flatName": _("The flat, label corner at the top left"),
        "flatTurned": _("The flat, label corner at the top right"),
        "all": _("All"),
        "row": _("Row {row}"),
        "partOfFlat": _("Part of the flat"),
        "fromTo": _("{first} to {last}"),
        "wholeFlat": _("Whole flat"),
        "larger": _("Larger"),
        "chooseMore": _("Touch other rows, or another cell to end there."),
        "seenUpTo": _("Seen up to {cell}."),
        "seenRows": _("Seen: row {rows}."),
    }
