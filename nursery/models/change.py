"""Corrections and voidings: what changed, from what to what, by whom and why."""

from django.db import models
from django.utils.translation import gettext_lazy as _

from nursery.models.base import Event


class Voiding(Event):
    """Takes back another event, which stays in the book."""

    target_uuid = models.UUIDField(unique=True)
    target_noun = models.CharField(max_length=30)
    reason = models.CharField(max_length=200, blank=True)


class Change(Event):
    """One corrected value; counts and records were derived again in the same transaction."""

    flat = models.ForeignKey("nursery.Flat", models.PROTECT, null=True, blank=True, related_name="changes")
    run = models.ForeignKey("nursery.Run", models.PROTECT, null=True, blank=True, related_name="changes")
    check_ref = models.ForeignKey(
        "nursery.Check", models.PROTECT, null=True, blank=True, related_name="changes", db_column="check_id"
    )
    field = models.CharField(max_length=40)
    old = models.JSONField(null=True)
    new = models.JSONField(null=True)
    reason = models.CharField(_("reason"), max_length=200, blank=True)
