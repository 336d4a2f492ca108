"""What an import of tallies would do, as plain data for the page that shows it before anything is stored."""

from typing import Any

from nursery.actions.tally_plan import Entry, Status, TallyPlan

ROWS_SHOWN = 12
FAULTS_SHOWN = 50
NAMES_SHOWN = 12


def preview_of(plan: TallyPlan) -> dict[str, Any]:
    """Return what a plan comes to; the words for each status are the page's."""
    return {
        "faults": [
            {"row": fault.row, "column": fault.column, "message": fault.message}
            for fault in plan.faults[:FAULTS_SHOWN]
        ],
        "faults_count": len(plan.faults),
        "rows_count": len(plan.entries),
        "counts": {status.value: plan.count(status) for status in Status if plan.count(status)},
        "entries": [_entry(entry) for entry in plan.entries[:ROWS_SHOWN]],
        "unread": plan.unread,
        "seasons": [
            {"name": one.name, "starts_on": str(one.starts_on), "ends_on": str(one.ends_on)}
            for one in plan.seasons.new_seasons
        ],
        "new_names": [
            {"noun": noun, "names": names[:NAMES_SHOWN], "more": max(0, len(names) - NAMES_SHOWN)}
            for noun, names in plan.new_names()
            if names
        ],
        "has_new_grafters": bool(plan.names.new_workers),
    }


def _entry(entry: Entry) -> dict[str, Any]:
    row = entry.row
    return {
        "flat": row.flat,
        "pairing": [row.scion, row.rootstock],
        "grafter": row.grafter,
        "grafted_on": str(row.grafted_on),
        "checked_on": str(row.checked_on),
        "grafted": row.grafted,
        "alive": row.alive,
        "wilting": row.wilting,
        "status": entry.status.value,
    }
