"""Logins, workers and devices."""

import uuid
from typing import Self

from django.contrib.auth.models import AbstractUser
from django.db import models
from django.utils.translation import gettext_lazy as _

from nursery.models.base import Keyed, choices_check


class Account(AbstractUser):
    """A login: a grower's, a crew member's own, or that of a shared tablet."""

    class Role(models.TextChoices):
        GROWER = "grower", _("Grower")
        CREW = "crew", _("Crew")

    role = models.CharField(_("role"), max_length=10, choices=Role, default=Role.CREW)
    is_shared = models.BooleanField(
        _("shared tablet"), default=False, help_text=_("Stays logged in and asks who is working.")
    )

    class Meta(AbstractUser.Meta):
        constraints = [
            choices_check("account_role_valid", "role", ["grower", "crew"]),
            models.CheckConstraint(
                condition=models.Q(is_shared=False) | models.Q(role="crew"),
                name="account_shared_is_crew",
                violation_error_message=_("A shared tablet is crew, never grower."),
            ),
        ]

    @property
    def is_grower(self) -> bool:
        return self.role == self.Role.GROWER


class WorkerQuerySet(models.QuerySet["Worker"]):
    def active(self) -> Self:
        return self.filter(is_active=True)

    def free_for(self, account: Account | None) -> Self:
        """Active workers without a login, and the one whose login ``account`` is."""
        free = models.Q(account=None)
        return self.active().filter(free | models.Q(account=account) if account else free)


class Worker(Keyed):
    """Someone who grafts, cuts or checks; with or without a login of their own."""

    name = models.CharField(_("name"), max_length=60, unique=True)
    account = models.OneToOneField(
        Account, models.PROTECT, null=True, blank=True, related_name="worker", verbose_name=_("own login")
    )
    is_active = models.BooleanField(_("works here now"), default=True)
    started_on = models.DateField(_("first day"), null=True, blank=True)
    note = models.TextField(_("note"), blank=True)

    objects = WorkerQuerySet.as_manager()

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class Device(models.Model):
    """A browser that sends marks, known by the UUID it made for itself."""

    uuid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    name = models.CharField(_("name"), max_length=60, blank=True)
    first_seen_at = models.DateTimeField()
    last_seen_at = models.DateTimeField()
    skew_ms = models.BigIntegerField(
        default=0, help_text=_("Server clock minus device clock at the last exchange, milliseconds.")
    )

    def __str__(self) -> str:
        return self.name or str(self.uuid)[:8]


class DeviceTokenQuerySet(models.QuerySet["DeviceToken"]):
    def standing(self) -> Self:
        """Tokens that still open the door: not withdrawn, and of a login that may still be used."""
        return self.filter(withdrawn_at=None, account__is_active=True)


class DeviceToken(models.Model):
    """What a browser sends its waiting marks with when its login has ended: it opens that one door only.

    The token itself is kept by the browser alone; here lies its SHA-256.
    """

    device = models.ForeignKey(Device, models.PROTECT, related_name="tokens")
    account = models.ForeignKey(Account, models.PROTECT, related_name="device_tokens")
    digest = models.CharField(max_length=64, unique=True, editable=False)
    issued_at = models.DateTimeField()
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    objects = DeviceTokenQuerySet.as_manager()

    def __str__(self) -> str:
        return f"{self.device}: {self.account}"
