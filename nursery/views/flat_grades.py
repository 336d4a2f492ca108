"""What was graded and severed on a flat, for its page."""

from collections import defaultdict
from collections.abc import Sequence

from nursery.models import Account, Flat, Grading, Method, Run, Severing
from nursery.models.saleable import SaleableSums, added_up, saleable_by_run
from nursery.views.flat_story import part_names


def grades_of(flat: Flat, runs: Sequence[Run], user: Account) -> dict[str, object]:
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
    by_run = saleable_by_run(keys) if gradings else {}
    return {
        "gradings": gradings,
        "severings": severings,
        "graded": added_up(by_run.values()),
        "graded_parts": _parts(by_run, part_names(runs, user)),
    }


def _parts(by_run: dict[int, SaleableSums], names: dict[int, str]) -> list[tuple[str, SaleableSums]]:
    """Return the grades part by part, as the counts by day are told; nothing where there is one part only."""
    parts: dict[str, list[SaleableSums]] = defaultdict(list)
    for run, name in names.items():
        if run in by_run:
            parts[name].append(by_run[run])
    return [(name, added_up(sums)) for name, sums in parts.items()] if len(parts) > 1 else []
