"""Devices and the tokens with which they send their waiting marks when their login has ended."""

import hashlib
import secrets
from datetime import datetime
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from nursery.models import Account, Device, DeviceToken

TOKEN_BYTES = 32
MOST_NAME = 60


@transaction.atomic
def issue_token(account: Account, *, device: UUID, now: datetime, name: str = "") -> str:
    """Return a new token for ``account`` on a browser; those it had there before open nothing any more.

    The token is told this once: the book keeps its digest. A device that has a name keeps it.
    """
    there, _is_new = Device.objects.get_or_create(
        uuid=device, defaults={"first_seen_at": now, "last_seen_at": now, "name": name}
    )
    if name:
        Device.objects.filter(pk=there.pk, name="").update(name=name)
    withdraw_tokens(account, device=device, now=now)
    token = secrets.token_urlsafe(TOKEN_BYTES)
    DeviceToken.objects.create(device=there, account=account, digest=_digest(token), issued_at=now)
    return token


def withdraw_tokens(account: Account, *, device: UUID, now: datetime) -> int:
    """Withdraw what ``account`` may send with from a device, and return how many tokens that were."""
    standing = DeviceToken.objects.filter(account=account, device__uuid=device, withdrawn_at=None)
    return standing.update(withdrawn_at=now)


def withdraw_all_tokens(account: Account, *, now: datetime) -> None:
    """Withdraw what ``account`` may send with from any device."""
    DeviceToken.objects.filter(account=account, withdrawn_at=None).update(withdrawn_at=now)


def account_of_token(token: str) -> Account | None:
    """Return whose token this is; None if it was withdrawn, never issued, or its login may not be used."""
    found = DeviceToken.objects.standing().select_related("account").filter(digest=_digest(token)).first()
    return found.account if found else None


def name_device(device: Device, *, name: str) -> None:
    """Give a device the name by which people know it; an empty one takes the name away."""
    name = name.strip()
    if len(name) > MOST_NAME:
        raise ValidationError({"name": _("Use at most %d characters.") % MOST_NAME})
    Device.objects.filter(pk=device.pk).update(name=name)


def _digest(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()
