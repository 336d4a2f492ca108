"""Leavings, gradings, moves of places, own label papers, long work; plants moved together tell their act.

Nothing wrote grade counts, pool counts or moved cells before, so their new columns need no old values.
"""

import django.db.models.deletion
import uuid
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("nursery", "0002_seasons_never_overlap"),
    ]

    operations = [
        migrations.CreateModel(
            name="Grading",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("uuid", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("at", models.DateTimeField(help_text="When, corrected for the device's clock.")),
                ("raw_at", models.DateTimeField(help_text="When, as the device said.")),
                ("received_at", models.DateTimeField(help_text="When the program heard of it.")),
                ("day", models.DateField(verbose_name="day")),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="Job",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("key", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("kind", models.CharField(max_length=30)),
                ("params", models.JSONField(default=dict)),
                ("asked_at", models.DateTimeField()),
                ("started_at", models.DateTimeField(blank=True, null=True)),
                (
                    "seen_at",
                    models.DateTimeField(
                        blank=True, help_text="When its process last said that it lives.", null=True
                    ),
                ),
                ("ended_at", models.DateTimeField(blank=True, null=True)),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("waiting", "Waiting"),
                            ("running", "Under way"),
                            ("done", "Done"),
                            ("failed", "Failed"),
                            ("cancelled", "Cancelled"),
                        ],
                        default="waiting",
                        max_length=9,
                    ),
                ),
                ("is_cancel_asked", models.BooleanField(default=False)),
                ("done_count", models.PositiveIntegerField(default=0)),
                ("total_count", models.PositiveIntegerField(default=0)),
                ("message", models.TextField(blank=True)),
                ("result", models.JSONField(blank=True, null=True)),
                (
                    "file_name",
                    models.CharField(blank=True, help_text="A file in the data folder.", max_length=120),
                ),
            ],
            options={
                "ordering": ["-asked_at", "-id"],
            },
        ),
        migrations.CreateModel(
            name="LabelStock",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("key", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("name", models.CharField(max_length=40, unique=True, verbose_name="name")),
                (
                    "paper",
                    models.CharField(
                        choices=[("A4", "A4"), ("Letter", "Letter"), ("roll", "Roll or single labels")],
                        max_length=6,
                        verbose_name="paper",
                    ),
                ),
                (
                    "label_width_mm",
                    models.DecimalField(decimal_places=2, max_digits=6, verbose_name="label width, mm"),
                ),
                (
                    "label_height_mm",
                    models.DecimalField(decimal_places=2, max_digits=6, verbose_name="label height, mm"),
                ),
                ("columns", models.PositiveSmallIntegerField(default=1, verbose_name="labels across")),
                ("rows", models.PositiveSmallIntegerField(default=1, verbose_name="labels down")),
                (
                    "left_mm",
                    models.DecimalField(
                        decimal_places=2, default=0, max_digits=6, verbose_name="left margin, mm"
                    ),
                ),
                (
                    "top_mm",
                    models.DecimalField(
                        decimal_places=2, default=0, max_digits=6, verbose_name="top margin, mm"
                    ),
                ),
                (
                    "pitch_x_mm",
                    models.DecimalField(
                        decimal_places=2,
                        default=0,
                        max_digits=6,
                        verbose_name="from label to label across, mm",
                    ),
                ),
                (
                    "pitch_y_mm",
                    models.DecimalField(
                        decimal_places=2, default=0, max_digits=6, verbose_name="from label to label down, mm"
                    ),
                ),
                (
                    "pad_mm",
                    models.DecimalField(
                        decimal_places=2, default=2, max_digits=4, verbose_name="blank edge, mm"
                    ),
                ),
                (
                    "shift_x_mm",
                    models.DecimalField(
                        decimal_places=2,
                        default=0,
                        max_digits=4,
                        verbose_name="printer's shift to the right, mm",
                    ),
                ),
                (
                    "shift_y_mm",
                    models.DecimalField(
                        decimal_places=2, default=0, max_digits=4, verbose_name="printer's shift down, mm"
                    ),
                ),
            ],
            options={
                "ordering": ["name"],
            },
        ),
        migrations.CreateModel(
            name="Leaving",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("uuid", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("at", models.DateTimeField(help_text="When, corrected for the device's clock.")),
                ("raw_at", models.DateTimeField(help_text="When, as the device said.")),
                ("received_at", models.DateTimeField(help_text="When the program heard of it.")),
                ("day", models.DateField(verbose_name="day")),
                (
                    "reason",
                    models.CharField(
                        choices=[
                            ("sold", "Sold"),
                            ("planted", "Planted"),
                            ("moved", "Moved"),
                            ("culled", "Culled"),
                            ("sample", "Sample"),
                        ],
                        max_length=10,
                        verbose_name="reason",
                    ),
                ),
                ("destination", models.CharField(blank=True, max_length=120, verbose_name="destination")),
                (
                    "act",
                    models.UUIDField(
                        blank=True,
                        db_index=True,
                        help_text="Joins what one touch did to several flats.",
                        null=True,
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="LeavingCount",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("plants_count", models.PositiveIntegerField()),
            ],
        ),
        migrations.CreateModel(
            name="PlaceMove",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("uuid", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("at", models.DateTimeField(help_text="When, corrected for the device's clock.")),
                ("raw_at", models.DateTimeField(help_text="When, as the device said.")),
                ("received_at", models.DateTimeField(help_text="When the program heard of it.")),
                ("act", models.UUIDField(blank=True, db_index=True, null=True)),
            ],
        ),
        migrations.RemoveField(
            model_name="poolcount",
            name="by_worker",
        ),
        migrations.RemoveField(
            model_name="poolcount",
            name="device",
        ),
        migrations.RemoveField(
            model_name="poolcount",
            name="flat",
        ),
        migrations.RemoveField(
            model_name="poolcount",
            name="run",
        ),
        migrations.RemoveField(
            model_name="poolcount",
            name="sent_by",
        ),
        migrations.RemoveConstraint(
            model_name="closing",
            name="closing_kind_valid",
        ),
        migrations.RemoveField(
            model_name="gradecount",
            name="check_ref",
        ),
        migrations.AddField(
            model_name="flat",
            name="is_pooled",
            field=models.BooleanField(
                default=False,
                editable=False,
                help_text="Holds plants moved together by number: no cell is known, checks are by numbers.",
            ),
        ),
        migrations.AddField(
            model_name="stagemove",
            name="act",
            field=models.UUIDField(
                blank=True, db_index=True, help_text="Joins what one touch did to several flats.", null=True
            ),
        ),
        migrations.AlterField(
            model_name="closing",
            name="kind",
            field=models.CharField(
                choices=[("close", "Closed"), ("reopen", "Opened again"), ("ask", "Asked to open again")],
                max_length=6,
            ),
        ),
        migrations.AddConstraint(
            model_name="closing",
            constraint=models.CheckConstraint(
                condition=models.Q(("kind__in", ["close", "reopen", "ask"])),
                name="closing_kind_valid",
                violation_error_message="This is not one of the choices.",
            ),
        ),
        migrations.AddField(
            model_name="grading",
            name="by_worker",
            field=models.ForeignKey(
                blank=True,
                db_index=False,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="nursery.worker",
            ),
        ),
        migrations.AddField(
            model_name="grading",
            name="device",
            field=models.ForeignKey(
                blank=True,
                db_index=False,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="nursery.device",
            ),
        ),
        migrations.AddField(
            model_name="grading",
            name="flat",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="gradings", to="nursery.flat"
            ),
        ),
        migrations.AddField(
            model_name="grading",
            name="sent_by",
            field=models.ForeignKey(
                blank=True,
                db_index=False,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddField(
            model_name="gradecount",
            name="grading",
            field=models.ForeignKey(
                default=1,
                on_delete=django.db.models.deletion.CASCADE,
                related_name="counts",
                to="nursery.grading",
            ),
            preserve_default=False,
        ),
        migrations.AddConstraint(
            model_name="gradecount",
            constraint=models.CheckConstraint(
                condition=models.Q(("plants_count__gte", 1)), name="grade_count_at_least_1"
            ),
        ),
        migrations.AddConstraint(
            model_name="gradecount",
            constraint=models.UniqueConstraint(
                fields=("grading", "run", "grade", "heads_per_plant", "is_even"), name="grade_count_once"
            ),
        ),
        migrations.AddConstraint(
            model_name="gradecount",
            constraint=models.UniqueConstraint(
                condition=models.Q(("is_even__isnull", True)),
                fields=("grading", "run", "grade", "heads_per_plant"),
                name="grade_count_once_without_even",
            ),
        ),
        migrations.AddField(
            model_name="job",
            name="asked_by",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddConstraint(
            model_name="labelstock",
            constraint=models.CheckConstraint(
                condition=models.Q(("paper__in", ["A4", "Letter", "roll"])),
                name="label_stock_paper_valid",
                violation_error_message="This is not one of the choices.",
            ),
        ),
        migrations.AddConstraint(
            model_name="labelstock",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("columns__gte", 1),
                    ("label_height_mm__gt", 0),
                    ("label_width_mm__gt", 0),
                    ("rows__gte", 1),
                ),
                name="label_stock_has_labels",
                violation_error_message="A label paper needs a label size and at least one label.",
            ),
        ),
        migrations.AddField(
            model_name="leaving",
            name="by_worker",
            field=models.ForeignKey(
                blank=True,
                db_index=False,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="nursery.worker",
            ),
        ),
        migrations.AddField(
            model_name="leaving",
            name="check_ref",
            field=models.OneToOneField(
                blank=True,
                db_column="check_id",
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="leaving",
                to="nursery.check",
            ),
        ),
        migrations.AddField(
            model_name="leaving",
            name="device",
            field=models.ForeignKey(
                blank=True,
                db_index=False,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="nursery.device",
            ),
        ),
        migrations.AddField(
            model_name="leaving",
            name="flat",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="leavings", to="nursery.flat"
            ),
        ),
        migrations.AddField(
            model_name="leaving",
            name="sent_by",
            field=models.ForeignKey(
                blank=True,
                db_index=False,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddField(
            model_name="leaving",
            name="to_flat",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="arrivals",
                to="nursery.flat",
            ),
        ),
        migrations.AddField(
            model_name="grading",
            name="leaving",
            field=models.OneToOneField(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="grading",
                to="nursery.leaving",
            ),
        ),
        migrations.AddField(
            model_name="cell",
            name="came_by",
            field=models.ForeignKey(
                blank=True,
                help_text="For a plant that was moved in: the act that moved it, and so the day.",
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="cells_moved",
                to="nursery.leaving",
            ),
        ),
        migrations.AddConstraint(
            model_name="cell",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("came_by__isnull", True), ("moved_from__isnull", True)),
                    models.Q(("came_by__isnull", False), ("moved_from__isnull", False)),
                    _connector="OR",
                ),
                name="cell_moved_by_an_act",
            ),
        ),
        migrations.AddField(
            model_name="leavingcount",
            name="leaving",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.CASCADE, related_name="counts", to="nursery.leaving"
            ),
        ),
        migrations.AddField(
            model_name="leavingcount",
            name="run",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="leaving_counts", to="nursery.run"
            ),
        ),
        migrations.AddField(
            model_name="placemove",
            name="by_worker",
            field=models.ForeignKey(
                blank=True,
                db_index=False,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="nursery.worker",
            ),
        ),
        migrations.AddField(
            model_name="placemove",
            name="device",
            field=models.ForeignKey(
                blank=True,
                db_index=False,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="nursery.device",
            ),
        ),
        migrations.AddField(
            model_name="placemove",
            name="place",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="moves_of_it", to="nursery.place"
            ),
        ),
        migrations.AddField(
            model_name="placemove",
            name="sent_by",
            field=models.ForeignKey(
                blank=True,
                db_index=False,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddField(
            model_name="placemove",
            name="stands_in",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="moves_into_it",
                to="nursery.place",
            ),
        ),
        migrations.DeleteModel(
            name="PoolCount",
        ),
        migrations.AddConstraint(
            model_name="job",
            constraint=models.CheckConstraint(
                condition=models.Q(("state__in", ["waiting", "running", "done", "failed", "cancelled"])),
                name="job_state_valid",
                violation_error_message="This is not one of the choices.",
            ),
        ),
        migrations.AddConstraint(
            model_name="job",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("total_count", 0), ("done_count__lte", models.F("total_count")), _connector="OR"
                ),
                name="job_done_lte_total",
            ),
        ),
        migrations.AddConstraint(
            model_name="leaving",
            constraint=models.CheckConstraint(
                condition=models.Q(("reason__in", ["sold", "planted", "moved", "culled", "sample"])),
                name="leaving_reason_valid",
                violation_error_message="This is not one of the choices.",
            ),
        ),
        migrations.AddConstraint(
            model_name="leaving",
            constraint=models.CheckConstraint(
                condition=models.Q(("to_flat__isnull", True), ("reason", "moved"), _connector="OR"),
                name="leaving_to_flat_is_moved",
            ),
        ),
        migrations.AddConstraint(
            model_name="leaving",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("to_flat__isnull", True),
                    models.Q(("to_flat", models.F("flat")), _negated=True),
                    _connector="OR",
                ),
                name="leaving_to_another_flat",
                violation_error_message="These plants stand in this flat already: choose another.",
            ),
        ),
        migrations.AddConstraint(
            model_name="leavingcount",
            constraint=models.UniqueConstraint(fields=("leaving", "run"), name="leaving_count_once_per_run"),
        ),
        migrations.AddConstraint(
            model_name="leavingcount",
            constraint=models.CheckConstraint(
                condition=models.Q(("plants_count__gte", 1)), name="leaving_count_at_least_1"
            ),
        ),
        migrations.AddIndex(
            model_name="placemove",
            index=models.Index(fields=["place", "-at", "-id"], name="place_move_latest"),
        ),
        migrations.AddConstraint(
            model_name="placemove",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("stands_in__isnull", True),
                    models.Q(("stands_in", models.F("place")), _negated=True),
                    _connector="OR",
                ),
                name="place_move_not_into_itself",
                violation_error_message="A place cannot stand in itself.",
            ),
        ),
    ]
