"""What was graded and severed on a flat, for its page."""

from collections.abc import Sequence

from nursery.models import Flat, Grading, Method, Run, Severing
from nursery.models.saleable import saleable_of


def grades_of(flat: Flat, runs: Sequence[Run]) -> dict[str, object]:
    """Return the gradings and severings that stand, and what is saleable by them; four queries at most."""
    keys = [run.pk for run in runs]
    gradings = list(
        Grading.objects.standing()
        .filter(flat=flat)
        .select_related("by_worker", "sent_by")
        .order_by("day", "pk")
    )
    severings: list[Severing] = []
    if any(run.method == Method.TONGUE for run in runs):
        rows = Severing.objects.standing().filter(run__in=keys).select_related("by_worker", "sent_by")
        severings = list(rows.order_by("severed_on", "pk"))
    graded = saleable_of(keys) if gradings else None
    return {"gradings": gradings, "severings": severings, "graded": graded}
