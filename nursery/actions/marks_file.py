"""Take in the marks that a tablet wrote to a file, where it could not send them.

The file is read by ``forms/marks_file.py``. It goes the way that every batch goes (``receive_batch``), some
hundred parts at a time, each in a transaction of its own. So a file may come twice, or after half of it was
sent: what is known already changes nothing.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from uuid import UUID

from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from nursery.actions.batch import Batch, CheckIn, ClosingIn, MarkIn, NumbersIn, Sender
from nursery.actions.desk import KNOWN, REFUSED, STORED
from nursery.actions.marks import receive_batch
from nursery.models import Account, Closing, Worker

AT_ONCE = 500  # parts in a batch, as many as the door for scripts takes
Part = CheckIn | MarkIn | ClosingIn | NumbersIn
_NOUNS: dict[type[Part], str] = {
    CheckIn: "checks",
    MarkIn: "marks",
    ClosingIn: "closings",
    NumbersIn: "numbers",
}
_WORSE = {STORED: 1, REFUSED: 2}  # what is said of a part that came more than once; known otherwise


@dataclass(frozen=True, slots=True)
class MarksFile:
    """The waiting marks of one tablet in the order they were made; times are those of its clock.

    ``skew`` is what its clock was behind the server's when they last met. ``account`` is the name of the
    login it was used under; ``refused`` are the parts that cannot be read, with the reason.
    """

    device: UUID
    skew: timedelta
    account: str
    parts: Sequence[Part]
    refused: dict[str, str]


@dataclass(slots=True)
class Outcome:
    """What became of each part of a file, by its name."""

    is_dry: bool = False
    statuses: dict[str, str] = field(default_factory=dict)
    reasons: dict[str, str] = field(default_factory=dict)

    def say(self, name: str, status: str, reason: str = "") -> None:
        if _WORSE.get(status, 0) >= _WORSE.get(self.statuses.get(name, ""), 0):
            self.statuses[name] = status
        if status == REFUSED:
            self.reasons.setdefault(name, reason)

    def count(self, status: str) -> int:
        return list(self.statuses.values()).count(status)

    @property
    def refusals(self) -> list[str]:
        """A line for each part that was refused, with the reason."""
        return [f"{name}: {reason}" for name, reason in self.reasons.items()]

    @property
    def said(self) -> str:
        """What became of the file, in one line of words."""
        parts = [
            ngettext("%d part taken in", "%d parts taken in", self.count(STORED)) % self.count(STORED),
            _("%d known already") % self.count(KNOWN),
            _("%d refused") % self.count(REFUSED),
        ]
        line = ", ".join(parts) + "."
        return line + " " + _("This was a trial: nothing was stored.") if self.is_dry else line


def import_marks(
    file: MarksFile, *, now: datetime, importer: Account | None = None, is_dry: bool = False
) -> Outcome:
    """Take in the marks of a file; with ``is_dry`` only say what would become of them.

    They are signed by the login that the file names or, where there is none of that name, by the
    ``importer``. A file opens no closed check again: nobody can tell which grower meant it.
    """
    account = Account.objects.filter(username=file.account).first() or importer
    worker = Worker.objects.active().filter(account=account).first() if account else None
    outcome = Outcome(is_dry=is_dry)
    for name, reason in file.refused.items():
        outcome.say(name, REFUSED, reason)
    if is_dry:
        with transaction.atomic():
            _take(file, Sender(account, worker, now), outcome)
            transaction.set_rollback(True)
    else:
        _take(file, Sender(account, worker, now), outcome)
    return outcome


def _take(file: MarksFile, sender: Sender, outcome: Outcome) -> None:
    for parts in _batches(file, outcome):
        # Whatever time has passed since, the clock was wrong by what it was wrong when the marks were made.
        batch = Batch(sent_at=sender.received_at - file.skew, device=file.device, is_from_file=True)
        lists: dict[str, list[Part]] = {
            "checks": batch.checks,  # type: ignore[dict-item]
            "marks": batch.marks,  # type: ignore[dict-item]
            "closings": batch.closings,  # type: ignore[dict-item]
            "numbers": batch.numbers,  # type: ignore[dict-item]
        }
        for part in parts:
            lists[_NOUNS[type(part)]].append(part)
        results = receive_batch(batch, sender).results
        for part in parts:
            result = results[_name(part)]
            outcome.say(f"{_NOUNS[type(part)]} {_name(part)}", result["status"], result.get("reason", ""))


def _batches(file: MarksFile, outcome: Outcome) -> Iterator[Sequence[Part]]:
    """Yield the parts some at a time. The checks come first, so that each part finds the one it names."""
    checks = [part for part in file.parts if isinstance(part, CheckIn)]
    others = [part for part in file.parts if not isinstance(part, CheckIn)]
    parts: list[Part] = [*checks]
    for part in others:
        if isinstance(part, ClosingIn) and part.kind == Closing.Kind.REOPEN:
            reason = _("A file opens no check again. A grower does, on the page of the check.")
            outcome.say(f"closings {part.uuid}", REFUSED, reason)
        else:
            parts.append(part)
    for first in range(0, len(parts), AT_ONCE):
        yield parts[first : first + AT_ONCE]


def _name(part: Part) -> str:
    return part.name if isinstance(part, NumbersIn) else str(part.uuid)
