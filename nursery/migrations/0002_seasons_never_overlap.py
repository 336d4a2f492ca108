"""Seasons never overlap: an exclusion constraint on PostgreSQL, triggers on SQLite."""

from django.db import migrations

MESSAGE = "season_no_overlap"

POSTGRESQL = [
    """
    ALTER TABLE nursery_season ADD CONSTRAINT season_no_overlap
    EXCLUDE USING gist (daterange(starts_on, ends_on, '[]') WITH &&)
    """
]
SQLITE = [
    f"""
    CREATE TRIGGER season_no_overlap_{verb} BEFORE {when} ON nursery_season
    WHEN EXISTS (
        SELECT 1 FROM nursery_season AS other
        WHERE other.id IS NOT NEW.id AND other.starts_on <= NEW.ends_on AND other.ends_on >= NEW.starts_on
    )
    BEGIN SELECT RAISE(ABORT, '{MESSAGE}'); END
    """
    for verb, when in (("insert", "INSERT"), ("update", "UPDATE"))
]
UNDO = {
    "postgresql": ["ALTER TABLE nursery_season DROP CONSTRAINT season_no_overlap"],
    "sqlite": ["DROP TRIGGER season_no_overlap_insert", "DROP TRIGGER season_no_overlap_update"],
}


def hold(apps, schema_editor):
    for statement in POSTGRESQL if schema_editor.connection.vendor == "postgresql" else SQLITE:
        schema_editor.execute(statement)


def release(apps, schema_editor):
    for statement in UNDO[schema_editor.connection.vendor]:
        schema_editor.execute(statement)


class Migration(migrations.Migration):
    dependencies = [("nursery", "0001_initial")]
    operations = [migrations.RunPython(hold, release)]
