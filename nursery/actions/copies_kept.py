"""The copies that the program keeps by itself: in the data folder, and in a second folder if one is named."""

import contextlib
import os
import shutil
import zoneinfo
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from django.conf import settings

from nursery.actions.copies import SET_ASIDE, SUFFIX, copies_dir, make_copy
from nursery.actions.copies_file import (
    PART,
    CopyFailed,
    CopyInfo,
    ensure_room,
    give_name,
    in_words,
    part_in,
    read_info,
    sum_of,
)
from nursery.actions.copies_lock import hold_copies, is_running
from nursery.actions.copies_state import CopiesState, change_state, read_state
from nursery.calc.keeping import copies_to_keep
from nursery.models import Farm

ASKED = ".asked"
STALE_AFTER = timedelta(days=2)
_NAME = "book-%Y-%m-%d-%H%M%S"


@dataclass(frozen=True)
class KeptCopy:
    """A file among the copies; ``made_at`` is on the farm's clock, as its name says."""

    name: str
    made_at: datetime
    size: int
    is_set_aside: bool


def make_kept_copy() -> Path:
    """Make a copy among the kept ones, bring it into the second folder, thin both out.

    CopyFailed if there is no new copy in the data folder. What goes wrong with the second one is only noted.
    """
    data = settings.DATA_DIR
    folder = copies_dir()
    with hold_copies(folder) as is_held:
        if not is_held:
            raise CopyFailed("Another copy is being made at this moment.")
        _sweep(folder)
        change_state(data, tried_at=datetime.now(UTC))
        target = folder / f"{_farm_now().strftime(_NAME)}{SUFFIX}"
        try:
            info = make_copy(target)
        except CopyFailed as error:
            change_state(data, failed_at=datetime.now(UTC), failure=str(error))
            raise
        finally:
            forget_asking()
        change_state(data, kept_at=datetime.fromisoformat(info.made_at), failed_at=None, failure="")
        thin_out(folder, info.folder)
        _bring_to_second(target, info)
        return target


def _farm_now() -> datetime:
    return datetime.now(zoneinfo.ZoneInfo(Farm.objects.current().time_zone))


def _sweep(folder: Path) -> None:
    """Take away what a copy left behind that a power cut ended; nobody else is making one."""
    for left in folder.glob(f".takebook-*{PART}*"):
        left.unlink(missing_ok=True)


def _bring_to_second(made: Path, info: CopyInfo) -> None:
    data, second = settings.DATA_DIR, settings.COPIES_DIR
    if second is None:
        change_state(data, second_folder="", second_failed_at=None, second_failure="")
        return
    if read_state(data).second_folder != str(second):
        change_state(data, second_folder=str(second), second_at=None, is_second_elsewhere=False)
    try:
        is_elsewhere = _is_elsewhere(second)
        if read_state(data).is_second_elsewhere and not is_elsewhere:
            raise CopyFailed(f"{second} lies on the disk of the book now: its own disk is not plugged in.")
        _copy_into(second, made, info)
    except (CopyFailed, OSError) as error:
        words = in_words(error, second) if isinstance(error, OSError) else str(error)
        change_state(data, second_failed_at=datetime.now(UTC), second_failure=words)
    else:
        change_state(
            data, second_at=datetime.now(UTC), second_failed_at=None, second_failure="",
            is_second_elsewhere=is_elsewhere,
        )  # fmt: skip


def _is_elsewhere(second: Path) -> bool:
    """True if the folder lies on another disk. A stick's folder may stay behind, empty, without the stick."""
    try:
        return second.stat().st_dev != Path(settings.DATA_DIR).stat().st_dev
    except FileNotFoundError as error:
        raise CopyFailed(f"There is no folder {second}: plug in its disk, or make the folder.") from error


def _copy_into(second: Path, made: Path, info: CopyInfo) -> None:
    ensure_room(second, made.stat().st_size)
    with part_in(second) as part:
        shutil.copyfile(made, part)
        if sum_of(part) != sum_of(made):
            raise CopyFailed(f"{second} does not give back what was written to it: take another disk.")
        give_name(part, second / made.name, is_replacing=True)
    thin_out(second, info.folder)


def thin_out(folder: Path, signed: str) -> None:
    """Delete what need not be kept, among the copies that this data folder signed."""
    ours = {copy.made_at: copy for copy in _dated(folder) if _signature(folder / copy.name) == signed}
    keep = copies_to_keep(ours)
    for made_at, copy in ours.items():
        if made_at not in keep:
            (folder / copy.name).unlink(missing_ok=True)


def _signature(path: Path) -> str:
    """Return which data folder made a copy; a damaged one has no signature and is left alone."""
    with contextlib.suppress(CopyFailed):
        return read_info(path).folder
    return ""


def _dated(folder: Path) -> list[KeptCopy]:
    found = []
    for path in folder.glob(f"book-*{SUFFIX}"):
        with contextlib.suppress(ValueError, OSError):
            made_at = datetime.strptime(path.name.removesuffix(SUFFIX), _NAME)
            found.append(KeptCopy(path.name, made_at, path.stat().st_size, is_set_aside=False))
    return found


def kept_copies() -> list[KeptCopy]:
    """Return the copies in the data folder, the newest first, and the books that a restore set aside."""
    folder = Path(settings.DATA_DIR) / "copies"
    found = _dated(folder)
    for path in folder.glob(f"{SET_ASIDE}-*"):
        with contextlib.suppress(ValueError, OSError):
            made_at = datetime.strptime(path.stem, f"{SET_ASIDE}-%Y-%m-%d-%H%M%S")
            found.append(KeptCopy(path.name, made_at, path.stat().st_size, is_set_aside=True))
    return sorted(found, key=lambda copy: copy.made_at, reverse=True)


def ask_for_copy() -> bool:
    """Ask the running program to make a copy soon; False if none runs that would."""
    if not is_running(settings.DATA_DIR):
        return False
    path = copies_dir() / ASKED
    os.close(os.open(path, os.O_WRONLY | os.O_CREAT, 0o600))
    return True


def is_copy_asked_for() -> bool:
    return (Path(settings.DATA_DIR) / "copies" / ASKED).exists()


def forget_asking() -> None:
    (Path(settings.DATA_DIR) / "copies" / ASKED).unlink(missing_ok=True)


def days_without_copy(state: CopiesState, now: datetime) -> int | None:
    """Return for how many days there has been no good copy, once that is too long; None before."""
    since = max(filter(None, (state.good_at, state.watched_since)), default=None)
    if since is None or now - since < STALE_AFTER:
        return None
    return (now - since).days
