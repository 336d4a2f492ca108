from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("nursery", "0003_season_as_it_goes"),
    ]

    operations = [
        migrations.AddField(
            model_name="check",
            name="opened_as",
            field=models.JSONField(
                blank=True,
                editable=False,
                help_text="Kind and places it was opened with, where its closing says otherwise.",
                null=True,
            ),
        ),
        migrations.AddField(
            model_name="closing",
            name="seen",
            field=models.CharField(
                blank=True, choices=[("whole", "Whole flat"), ("part", "Part of the flat")], max_length=5
            ),
        ),
        migrations.AddField(
            model_name="closing",
            name="seen_places",
            field=models.JSONField(blank=True, null=True),
        ),
        migrations.AddConstraint(
            model_name="closing",
            constraint=models.CheckConstraint(
                condition=models.Q(("seen__in", ["", "whole", "part"])),
                name="closing_seen_valid",
                violation_error_message="This is not one of the choices.",
            ),
        ),
    ]
