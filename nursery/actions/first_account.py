"""The first login of an empty book, made with a one-time key that only the terminal showed."""

import hmac
import os
import secrets
from pathlib import Path

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from nursery.actions.accounts import GROWER, create_account
from nursery.calc.codes import ALPHABET
from nursery.models import Account, Farm, Worker

KEY_FILE = "first_account_key"
KEY_GROUPS, GROUP_LENGTH = 3, 4  # 12 characters of 5 bits
_LOOK_ALIKES = str.maketrans("OIL", "011")


def is_first_account_wanted() -> bool:
    """True while nobody can log in."""
    return not Account.objects.exists()


def new_first_key(data_dir: Path) -> str:
    """Write a fresh key into the data directory, readable by its owner only, and return it."""
    groups = ("".join(secrets.choice(ALPHABET) for _ in range(GROUP_LENGTH)) for _ in range(KEY_GROUPS))
    key = "-".join(groups)
    drop_first_key(data_dir)
    handle = os.open(data_dir / KEY_FILE, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "w") as file:
        file.write(key)
    return key


def drop_first_key(data_dir: Path) -> None:
    """Take the key away; after that no key fits."""
    (data_dir / KEY_FILE).unlink(missing_ok=True)


def is_first_key(data_dir: Path, entry: str) -> bool:
    """True if ``entry`` is the key; case, dashes, spaces and look-alikes are forgiven."""
    try:
        key = (data_dir / KEY_FILE).read_text()
    except FileNotFoundError:
        return False
    return bool(key) and hmac.compare_digest(_plain(key), _plain(entry))


@transaction.atomic
def create_first_account(data_dir: Path, *, key: str, farm: dict[str, str], login: dict[str, str]) -> Account:
    """Name the farm and make its first grower.

    ``farm`` has ``name`` and ``time_zone``; ``login`` has ``username``, ``password`` and ``worker_name``
    (empty where the grower neither grafts nor checks). ValidationError if the key is wrong or somebody was
    quicker.
    """
    if not is_first_key(data_dir, key):
        raise ValidationError(
            {"key": _("This is not the key that the terminal shows. Compare and type it again.")}
        )
    # Two browsers may send this at once: both want the one row of the farm, so one of them waits here and
    # then finds the account of the other.
    row, _created = Farm.objects.update_or_create(pk=1, defaults=farm)
    row.full_clean()
    if not is_first_account_wanted():
        raise ValidationError(
            _("The first login was made by someone else a moment ago. Log in."), code="taken"
        )
    worker = _worker_called(login["worker_name"]) if login["worker_name"] else None
    account = create_account(
        username=login["username"], password=login["password"], kind=GROWER, worker=worker
    )
    transaction.on_commit(lambda: drop_first_key(data_dir))
    return account


def _worker_called(name: str) -> Worker:
    """Return the worker of that name, made if an imported season has not named them already."""
    worker, _is_new = Worker.objects.get_or_create(name=name)
    Worker.objects.filter(pk=worker.pk).update(is_active=True)
    return worker


def _plain(key: str) -> bytes:
    letters = "".join(character for character in key.upper() if character.isalnum())
    return letters.translate(_LOOK_ALIKES).encode()
