"""What the export of everything holds: each table under the name a grower knows it by, and its columns.

The columns follow from the models, so that a new one is exported without a word here. A row is referred to
by what is public of it (its code, its UUID or key, or a name that is unique): integer keys stay inside, as
another database would give others. A table that is not exported stands in ``LEFT_OUT`` with the reason.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django.apps import apps
from django.db import models

TABLES: dict[str, tuple[str, str]] = {
    # model: (table, what one row is)
    "Farm": ("farm", "The farm and its settings; one row."),
    "Season": ("seasons", "A season with its first and last day."),
    "Crop": ("crops", "What is harvested."),
    "Cultivar": ("cultivars", "A variety, used as scion, rootstock or either."),
    "Pairing": ("pairings", "A scion cultivar on a rootstock cultivar, with its defaults."),
    "SeedLot": ("seed_lots", "One delivery of seed of one cultivar."),
    "Sowing": ("sowings", "Seed of one lot sown on one day."),
    "TrayFormat": ("tray_formats", "Rows and columns of a tray."),
    "Layout": ("layouts", "Which cells of a tray are used."),
    "Place": ("places", "Where flats stand."),
    "PlaceMove": ("place_moves", "A place, such as a trolley, came to stand in another."),
    "Worker": ("workers", "Who grafts, cuts or checks."),
    "Account": ("logins", "A login. Passwords are never exported."),
    "Device": ("devices", "A browser that sends marks."),
    "HealingPlan": ("healing_plans", "Steps after grafting, by crop and method."),
    "Step": ("healing_steps", "One step of a healing plan."),
    "Session": ("sessions", "A grafting shift at a bench."),
    "Pause": ("pauses", "Time within a session that is no work."),
    "BladeEvent": ("blade_events", "A blade was changed or disinfected."),
    "Flat": ("flats", "A tray with a code; or one of a past season, brought in as counts."),
    "Run": ("runs", "Who grafted what: cells of one flat, one pairing, one method."),
    "RunSowing": ("run_sowings", "Which sowing stood on which side of a run."),
    "Severing": ("severings", "Second cut of a tongue-approach graft."),
    "Cell": ("cells", "One graft's stay in one place of one flat."),
    "StageMove": ("moves", "A flat came to a stage, and perhaps to a place."),
    "StepDone": ("healing_steps_done", "A step of a healing plan was done, put off or left out for a flat."),
    "Reading": ("readings", "Temperature and humidity of a place."),
    "Check": ("checks", "One look at one flat on one day on one device."),
    "Mark": ("marks", "A statement about one cell."),
    "Closing": ("closings", "A check was closed, opened again, or somebody asked for that."),
    "NumberCount": ("numbers", "Dead and wilting of one run in a check by numbers."),
    "DayCount": (
        "day_counts",
        "The counts of one run on one day; a take is made of those that are a record.",
    ),
    "Leaving": ("leavings", "Plants left a flat alive."),
    "LeavingCount": ("leaving_counts", "How many of each run left, where cells were not told."),
    "Grading": ("gradings", "Plants of a flat were graded."),
    "GradeCount": ("grade_counts", "How many plants of a run fell into a grade."),
    "Target": ("targets", "How many plants of a pairing a season needs."),
    "Planting": ("plantings", "Plants of a flat were planted in a bed."),
    "Harvest": ("harvests", "What was harvested from a planting."),
    "TallyRow": ("tallies", "A count of a past season as it was brought in; a replaced one says so."),
    "Change": ("changes", "A correction: what was changed from what to what, and why."),
    "Voiding": ("voidings", "An event was taken back."),
    "LabelStock": ("label_stocks", "A label paper of the farm's own."),
    "LabelPrint": ("label_prints", "A label went to the printer."),
    "PrintedCode": ("printed_codes", "A code printed ahead, on a roll."),
}

LEFT_OUT: dict[str, str] = {
    # model: why it is not exported
    "nursery.DeviceToken": "whoever has one may send marks; a browser gets a new one",
    "nursery.Job": "the program's own list of long work, dropped in time",
    "sessions.Session": "who is logged in: whoever has it is logged in as well",
    "contenttypes.ContentType": "a list of tables that Django keeps for itself",
    "auth.Permission": "not used: what a login may do follows from its role",
    "auth.Group": "not used: what a login may do follows from its role",
    "auth.Group_permissions": "not used: what a login may do follows from its role",
    "nursery.Account_groups": "not used: what a login may do follows from its role",
    "nursery.Account_user_permissions": "not used: what a login may do follows from its role",
}
COLUMNS_LEFT_OUT: dict[str, set[str]] = {
    # The password; and what Django's account brings along and this program does not use.
    "Account": {"password", "is_superuser", "is_staff", "first_name", "last_name", "email"},
}

_KEY = (("", "key", "its key"),)
_CODE = (("", "code", "its code"),)
_UUID = (("", "uuid", "its UUID"),)
_NAME = (("", "name", "its name"),)
# How a row of another table is named: end of the column's name, path, in words.
PUBLIC: dict[str, tuple[tuple[str, str, str], ...]] = {
    "Account": (("", "username", "the login's name"),),
    "Cell": (
        ("_flat", "flat__code", "code of the cell's flat"),
        ("_place_no", "place_no", "the cell's place"),
        ("_graft_no", "graft_no", "which graft in that place"),
    ),
    "Cultivar": (("", "name", "its name"), ("_key", "key", "its key")),
    "Pairing": (
        ("", "key", "its key"),
        ("_scion", "scion__name", "name of its scion"),
        ("_rootstock", "rootstock__name", "name of its rootstock"),
    ),
    **dict.fromkeys(["Crop", "Worker", "Season", "TrayFormat", "Layout"], _NAME),
    **dict.fromkeys(["Flat", "Sowing", "Place"], _CODE),
    **dict.fromkeys(["Device", "Check", "Leaving", "Grading"], _UUID),
    **dict.fromkeys(["SeedLot", "Session", "Run", "HealingPlan", "Step", "Planting"], _KEY),
}
WORDS: dict[str, str] = {
    "key": "key of this row, by which other tables name it",
    "uuid": "UUID of this row, by which other tables name it",
    "code": "code, as it stands on the label",
    "act": "the same in all rows of what one touch did",
    "device": "the device it was entered on",
    "by_worker": "who did it",
    "sent_by": "the login it was sent from",
    "opened_at": "when it was begun, corrected for the device's clock",
    "raw_opened_at": "when it was begun, as the device said",
    "replaces": "UUIDs of what it takes the place of",
    "old": "what stood there before, as JSON",
    "new": "what stands there since, as JSON",
    "target_uuid": "UUID of what was taken back",
    "target_noun": "what kind of thing was taken back",
    "reason": "why",
    "day": "the day, on the farm's calendar",
    "grafted": "plants grafted",
    "alive": "plants alive, wilting among them",
    "dead": "plants dead",
    "gone": "plants gone alive",
    "checked_on": "the day of the count",
    "imported_at": "when it was brought in",
    "imported_by": "the login that brought it in",
    "replaced_at": "when another count took its place; empty while it stands",
    "order_in_run": "which graft of its run it was, from 1",
    "plants_count": "how many plants",
}


@dataclass(frozen=True, slots=True)
class Column:
    name: str
    path: str
    words: str


@dataclass(frozen=True, slots=True)
class Table:
    """A table of the export. ``name`` is the file's or sheet's."""

    model: type[models.Model]
    name: str
    words: str
    columns: tuple[Column, ...]

    @property
    def header(self) -> list[str]:
        return [column.name for column in self.columns]

    def count(self, using: str) -> int:
        return self.model._default_manager.using(using).count()

    def rows(self, using: str) -> Iterator[tuple[Any, ...]]:
        """Yield the rows in the order they were made, some at a time whatever their number."""
        paths = [column.path for column in self.columns]
        rows = self.model._default_manager.using(using).order_by("pk").values_list(*paths)
        return rows.iterator(chunk_size=2000)


def export_tables() -> list[Table]:
    """Return every table of the export."""
    return [
        Table(model := apps.get_model("nursery", name), table, words, tuple(_columns(model)))
        for name, (table, words) in TABLES.items()
    ]


def _columns(model: type[models.Model]) -> Iterator[Column]:
    left_out = COLUMNS_LEFT_OUT.get(model.__name__, set())
    for field in model._meta.concrete_fields:
        if field.name in left_out or isinstance(field, models.AutoField):
            continue
        name = field.name.removesuffix("_ref")
        if not field.is_relation:
            yield Column(name, field.name, _words(field))
            continue
        for end, path, words in PUBLIC[field.related_model.__name__]:  # type: ignore[union-attr]
            yield Column(f"{name}{end}", f"{field.name}__{path}", f"{_words(field)}: {words}")


def _words(field: Any) -> str:
    words = str(field.help_text or WORDS.get(field.name, field.verbose_name)).rstrip(".")
    if field.choices:
        words += " (" + ", ".join(str(value) for value, _label in field.flatchoices) + ")"
    return words
