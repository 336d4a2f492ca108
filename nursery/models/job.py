"""Work that takes longer than a second: done by a second process, its progress kept here."""

from typing import Self

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from nursery.models.base import Keyed, choices_check


class JobQuerySet(models.QuerySet["Job"]):
    def under_way(self) -> Self:
        return self.filter(state__in=[Job.State.WAITING, Job.State.RUNNING])


class Job(Keyed):
    """One piece of long work. Its process writes ``done_count`` as it goes and looks whether to stop."""

    class State(models.TextChoices):
        WAITING = "waiting", _("Waiting")
        RUNNING = "running", _("Under way")
        DONE = "done", _("Done")
        FAILED = "failed", _("Failed")
        CANCELLED = "cancelled", _("Cancelled")

    kind = models.CharField(max_length=30)
    params = models.JSONField(default=dict)
    asked_by = models.ForeignKey("nursery.Account", models.PROTECT, null=True, related_name="+")
    asked_at = models.DateTimeField()
    started_at = models.DateTimeField(null=True, blank=True)
    seen_at = models.DateTimeField(
        null=True, blank=True, help_text=_("When its process last said that it lives.")
    )
    ended_at = models.DateTimeField(null=True, blank=True)
    state = models.CharField(max_length=9, choices=State, default=State.WAITING)
    is_cancel_asked = models.BooleanField(default=False)
    done_count = models.PositiveIntegerField(default=0)
    total_count = models.PositiveIntegerField(default=0)
    message = models.TextField(blank=True)
    result = models.JSONField(null=True, blank=True)
    file_name = models.CharField(max_length=120, blank=True, help_text=_("A file in the data folder."))

    objects = JobQuerySet.as_manager()

    class Meta:
        ordering = ["-asked_at", "-id"]
        constraints = [
            choices_check("job_state_valid", "state", ["waiting", "running", "done", "failed", "cancelled"]),
            models.CheckConstraint(
                condition=Q(total_count=0) | Q(done_count__lte=F("total_count")), name="job_done_lte_total"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.state}"
