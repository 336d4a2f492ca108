"""Past seasons as counts. A tally row is never changed; a replaced one stays and says so."""

from typing import Self

from django.db import models
from django.db.models import F, Q


class TallyRowQuerySet(models.QuerySet["TallyRow"]):
    def standing(self) -> Self:
        return self.filter(replaced_at__isnull=True)


class TallyRow(models.Model):
    flat = models.ForeignKey("nursery.Flat", models.PROTECT, related_name="tally_rows")
    run = models.ForeignKey("nursery.Run", models.PROTECT, related_name="tally_rows")
    checked_on = models.DateField()
    grafted = models.PositiveIntegerField()
    alive = models.PositiveIntegerField()
    wilting = models.PositiveIntegerField(default=0)
    imported_at = models.DateTimeField()
    imported_by = models.ForeignKey("nursery.Account", models.PROTECT, null=True, related_name="+")
    replaced_at = models.DateTimeField(null=True, blank=True)

    objects = TallyRowQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["run", "checked_on"],
                condition=Q(replaced_at__isnull=True),
                name="tally_row_once_per_run_and_day",
            ),
            models.CheckConstraint(condition=Q(grafted__gte=1), name="tally_row_grafted_at_least_1"),
            models.CheckConstraint(condition=Q(alive__lte=F("grafted")), name="tally_row_alive_lte_grafted"),
            models.CheckConstraint(condition=Q(wilting__lte=F("alive")), name="tally_row_wilting_lte_alive"),
        ]

    def __str__(self) -> str:
        return f"{self.run_id} {self.checked_on}"
