"""Let the index of records lead with pairing and flat, by which the take report sums."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("nursery", "0004_closing_says_what_was_seen")]

    operations = [
        migrations.RemoveIndex("daycount", "day_count_records"),
        migrations.AddIndex(
            "daycount",
            models.Index(
                condition=models.Q(is_record=True),
                fields=[
                    "pairing", "flat", "season", "run", "grafted", "alive", "wilting", "gone", "gone_early",
                    "is_record",
                ],
                name="day_count_records",
            ),
        ),
    ]  # fmt: skip
