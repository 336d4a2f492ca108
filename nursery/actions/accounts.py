"""Logins: a grower makes them, changes them and sets their passwords."""

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _

from nursery.actions.devices import withdraw_all_tokens
from nursery.models import Account, Worker

GROWER, CREW, TABLET = "grower", "crew", "tablet"
_ROLES = {
    GROWER: (Account.Role.GROWER, False),
    CREW: (Account.Role.CREW, False),
    TABLET: (Account.Role.CREW, True),
}


def kind_of_account(account: Account) -> str:
    """Return GROWER, CREW or TABLET."""
    if account.is_grower:
        return GROWER
    return TABLET if account.is_shared else CREW


@transaction.atomic
def create_account(*, username: str, password: str, kind: str, worker: Worker | None) -> Account:
    """Make a login; ValidationError if the name is taken, the password weak or the worker not free."""
    role, is_shared = _ROLES[kind]
    account = Account(username=username, role=role, is_shared=is_shared)
    account.full_clean(exclude=["password"])
    _set_password(account, password)
    try:
        with transaction.atomic():
            account.save(force_insert=True)
    except IntegrityError as error:
        raise ValidationError(
            {"username": _("Somebody has just taken this name. Choose another.")}
        ) from error
    _link(account, worker)
    return account


@transaction.atomic
def change_account(account: Account, *, kind: str, worker: Worker | None, is_active: bool) -> None:
    """Change what a login may do, whose it is and whether it works; the last grower stays one."""
    role, is_shared = _ROLES[kind]
    # Two growers who demote each other at once do so one after the other: the second is refused below.
    list(
        Account.objects.select_for_update().filter(role=Account.Role.GROWER).order_by("pk").values_list("pk")
    )
    changed = Account.objects.filter(pk=account.pk).update(
        role=role, is_shared=is_shared, is_active=is_active
    )
    if not changed:
        raise ValueError(f"no account with primary key {account.pk}")
    if not Account.objects.filter(role=Account.Role.GROWER, is_active=True).exists():
        raise ValidationError(_("Somebody must keep the records: make another login a grower first."))
    account.refresh_from_db()
    _link(account, worker)


@transaction.atomic
def set_password(account: Account, password: str) -> None:
    """Give a login a new password; ValidationError if it is weak.

    It ends the login's sessions, and what its devices may send without one.
    """
    _set_password(account, password)
    account.save(update_fields=["password"])
    withdraw_all_tokens(account, now=timezone.now())


def _set_password(account: Account, password: str) -> None:
    try:
        validate_password(password, account)
    except ValidationError as error:
        raise ValidationError({"password": error.messages}) from error
    account.set_password(password)


def _link(account: Account, worker: Worker | None) -> None:
    """Make ``worker`` the one whose login this is, and nobody else."""
    if worker and account.is_shared:
        raise ValidationError({"worker": _("A shared tablet belongs to nobody. Leave the worker empty.")})
    if worker is None:
        Worker.objects.filter(account=account).update(account=None)
        return
    Worker.objects.filter(account=account).exclude(pk=worker.pk).update(account=None)
    nobody_elses = Q(account=None) | Q(account=account)
    if not Worker.objects.filter(nobody_elses, pk=worker.pk).update(account=account):
        raise ValidationError(
            {"worker": _("This worker has a login already. Choose another or leave it empty.")}
        )
