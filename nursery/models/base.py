"""What several tables share: public keys, events, and constraints on choices."""

import uuid
from collections.abc import Sequence
from typing import Any, Self

from django.db import models
from django.db.models import Exists, OuterRef, Q
from django.utils.translation import gettext_lazy as _


def choices_check(name: str, field: str, choices: Sequence[str]) -> models.CheckConstraint:
    """Return a named constraint that keeps ``field`` to the values of its choices."""
    return models.CheckConstraint(
        condition=Q(**{f"{field}__in": list(choices)}),
        name=name,
        violation_error_message=_("This is not one of the choices."),
    )


class Keyed(models.Model):
    """A row with a public key, so that integer keys never appear in an address."""

    key = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)

    class Meta:
        abstract = True


class EventQuerySet(models.QuerySet[Any]):
    def standing(self) -> Self:
        """Leave out what was voided."""
        from nursery.models.change import Voiding

        return self.exclude(Exists(Voiding.objects.filter(target_uuid=OuterRef("uuid"))))


class Event(models.Model):
    """Something that happened. Appended, never changed; a mistake is voided by another event."""

    uuid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    at = models.DateTimeField(help_text=_("When, corrected for the device's clock."))
    raw_at = models.DateTimeField(help_text=_("When, as the device said."))
    received_at = models.DateTimeField(help_text=_("When the program heard of it."))
    device = models.ForeignKey(
        "nursery.Device", models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )
    by_worker = models.ForeignKey(
        "nursery.Worker", models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )
    sent_by = models.ForeignKey(
        "nursery.Account", models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )

    objects = EventQuerySet.as_manager()

    class Meta:
        abstract = True
