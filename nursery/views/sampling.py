"""A sample of a batch: twelve of its forty flats are enough for now.

A batch is what was grafted of one pairing in one session. Which batches are counted by a sample is
remembered in the browser's own session: it is how one person goes through the day's list, and changes
nothing in the book.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_POST

from nursery import access
from nursery.calc.sampling import draw_sample, sample_size
from nursery.models import Pairing, Run, Session
from nursery.models.due import due_runs

SAMPLED = "sampled"
LEAST_FLATS = 10  # of fewer flats that are due, all are counted

_Batch = tuple[int, int]  # keys of a session and a pairing


@dataclass(frozen=True, slots=True)
class BatchLine:
    """A batch on the list of what is due. ``left`` of its flats, or of its sample, are not counted yet."""

    session: Session
    pairing: Pairing
    flats: int
    size: int
    left: int
    is_sampled: bool

    @property
    def counted(self) -> int:
        return self.size - self.left


@require_POST
def batch_sample(request: HttpRequest, key: UUID, pairing: UUID) -> HttpResponse:
    """Count a sample of a batch, or (``all``) every flat again."""
    session = access.session_for_work(request.user, key)
    names = set(request.session.get(SAMPLED, []))
    name = _name(session.key, pairing)
    names = names - {name} if "all" in request.POST else names | {name}
    request.session[SAMPLED] = sorted(names)
    return redirect("home")


def batches_due(today: date, sampled: Iterable[str]) -> tuple[list[BatchLine], set[int]]:
    """Return the larger batches of which flats are due, and the keys of the flats that no sample asks for."""
    due: dict[_Batch, set[int]] = {}
    runs = due_runs(today).filter(session__isnull=False).order_by("due_on", "flat_id", "number")
    for session_id, pairing_id, flat_id in runs.values_list("session_id", "pairing_id", "flat_id"):
        due.setdefault((session_id, pairing_id), set()).add(flat_id)
    sessions = Session.objects.in_bulk({session_id for session_id, _pairing in due})
    pairings = Pairing.objects.named().in_bulk({pairing_id for _session, pairing_id in due})
    names = {batch: _name(sessions[batch[0]].key, pairings[batch[1]].key) for batch in due}
    wanted = [batch for batch in due if len(due[batch]) >= LEAST_FLATS or names[batch] in set(sampled)]
    flats = _flats_of(wanted)
    lines, passed_over = [], set()
    for batch in wanted:
        codes, is_sampled = flats[batch], names[batch] in set(sampled)
        drawn = draw_sample(list(codes), sample_size(len(codes)), seed=names[batch])
        keys = {codes[code] for code in drawn} if is_sampled else set(codes.values())
        size, left = len(drawn), len(keys & due[batch])
        session, pairing = sessions[batch[0]], pairings[batch[1]]
        lines.append(BatchLine(session, pairing, len(codes), size, left, is_sampled))
        if is_sampled:
            passed_over |= due[batch] - keys
    return lines, passed_over


def _name(session_key: UUID, pairing_key: UUID) -> str:
    return f"{session_key}/{pairing_key}"


def _flats_of(batches: Iterable[_Batch]) -> Mapping[_Batch, dict[str, int]]:
    """Return all flats of these batches, counted or not: the lot is drawn from them, so that it stays."""
    flats: dict[_Batch, dict[str, int]] = {batch: {} for batch in batches}
    runs = Run.objects.filter(session__in=[session_id for session_id, _pairing in flats]).order_by()
    for session_id, pairing_id, flat_id, code in runs.values_list(
        "session_id", "pairing_id", "flat_id", "flat__code"
    ):
        if (session_id, pairing_id) in flats:
            flats[session_id, pairing_id][code] = flat_id
    return flats
