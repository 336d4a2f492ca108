"""What the check's script says. A script has no translations of its own, so the page brings them."""

from django.utils.translation import gettext as _


def check_words() -> dict[str, str]:
    """Return the script's sentences; ``{…}`` is filled in by the script."""
    return _drawing_words() | _cell_words() | _sent_words() | _round_words()


def _drawing_words() -> dict[str, str]:
    """Return what the drawing of the flat says of itself."""
    return {
        "flatName": _("The flat, label corner at the top left"),
        "flatTurned": _("The flat, label corner at the top right"),
        "all": _("All"),
        "row": _("Row {row}"),
        "partOfFlat": _("Part of the flat"),
        "fromTo": _("{first} to {last}"),
        "wholeFlat": _("Whole flat"),
        "larger": _("Larger"),
    }


def _cell_words() -> dict[str, str]:
    """Return what is said of cells, their causes, and the part that was seen."""
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
        "notTapped": _("{n} not tapped count as dead."),
        "notSeen": _("not seen"),
        "ofSeen": _("of {n} seen"),
        "choosePart": _("Touch the rows you saw, or the cell where you stopped."),
        "chooseMore": _("Touch other rows, or another cell to end there."),
        "seenUpTo": _("Seen up to {cell}."),
        "seenRows": _("Seen: row {rows}."),
    }


def _sent_words() -> dict[str, str]:
    """Return what is said of what was kept, sent and refused, and of checks."""
    return {
        "saved": _("All saved"),
        "unsentOne": _("1 mark waiting"),
        "unsentMany": _("{n} marks waiting"),
        "closing": _("Closing"),
        "waits": _("Closed here, waiting to be sent"),
        "forbidden": _("Not sent: this login may not mark flats"),
        "malformed": _("Not sent: load the page again"),
        "full": _("Not sent: the farm's computer has no room left"),
        "keeping": _("Saving"),
        "notKept": _("Not saved"),
        "notKeptWhat": _(
            "NOT SAVED: this tablet has no room left, and the server did not answer. Make room, or go where "
            "there is network, and tap again."
        ),
        "refused": _("{cell} was not taken: {reason}"),
        "title": _("Check {code}"),
        "today": _("today"),
        "begun": _("{who} began a check at {at} and has not closed it. Its marks are drawn."),
        "nothingBack": _("That was in a check that is no longer at hand: it cannot be taken back here."),
        "notHere": _("{code} was not taken along, and there is no network to ask for it."),
        "refusedMark": _("{cell} {state}."),
        "refusedOther": _("The check."),
        "sendAgain": _("Send again"),
        "letGo": _("Let go"),
    }


def _round_words() -> dict[str, str]:
    """Return what is said of a round and of the flats in it."""
    return {
        "noFlat": _("{code} is no code of a flat. Scan the label again, or type it."),
        "roundAt": _("{n} of {of}, {closed} closed"),
        "roundDone": _("Round done"),
        "roundNone": _("All {of} flats are closed. No dead plant was found."),
        "roundFound": _("All {of} flats are closed: {dead} dead in {flats} of them."),
        "roundOver": _("Round ended"),
        "roundEnded": _("{closed} of {of} flats closed: {dead} dead in {flats} of them."),
        "flatClosed": _("{alive} alive, {dead} dead"),
        "flatAtHand": _("at hand"),
        "flatSkipped": _("left for later"),
        "flatOpen": _("to be checked"),
        "noPage": _("No network for that page: this is the flat at hand in your round."),
        "noRound": _("No network"),
        "flatsHere": _("These flats are on this tablet:"),
        "nothingHere": _("No flat was taken along. Start a round where there is network."),
    }
