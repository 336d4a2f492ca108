"""Own papers for stake tags: the part of a tag that goes into the soil; the papers before it have none."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("nursery", "0005_records_by_flat"),
    ]

    operations = [
        migrations.AddField(
            model_name="labelstock",
            name="soil_mm",
            field=models.DecimalField(
                decimal_places=2, default=0, max_digits=5, verbose_name="part in the soil, mm"
            ),
        ),
        migrations.AddConstraint(
            model_name="labelstock",
            constraint=models.CheckConstraint(
                condition=models.Q(("soil_mm__gte", 0), ("soil_mm__lt", models.F("label_height_mm"))),
                name="label_stock_soil_lt_height",
                violation_error_message="A part of the tag has to stay above the soil.",
            ),
        ),
    ]
