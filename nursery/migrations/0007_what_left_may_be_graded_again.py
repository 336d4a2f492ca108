"""Plants that left may be graded again, once their first grading was taken back."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("nursery", "0006_label_stock_soil"),
    ]

    operations = [
        migrations.AlterField(
            model_name="grading",
            name="leaving",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="gradings",
                to="nursery.leaving",
            ),
        ),
    ]
