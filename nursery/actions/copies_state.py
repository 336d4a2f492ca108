"""How it stands with the copies: a small file in the data folder, read by every page of a grower.

It is no table, since it is about this machine's folders and must be readable when the book is not.
"""

import json
import os
import uuid
from dataclasses import asdict, dataclass, fields, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from nursery.actions.copies_file import OWNER_ONLY, give_name, part_in

STATE_FILE = "copies.json"
_MOMENTS = {"watched_since", "good_at", "kept_at", "tried_at", "failed_at", "second_at", "second_failed_at"}


@dataclass(frozen=True)
class CopiesState:
    """``good_at``: any copy; ``kept_at``: one of the kept; ``second_at``: one in the second folder."""

    folder: str = ""
    watched_since: datetime | None = None
    good_at: datetime | None = None
    kept_at: datetime | None = None
    tried_at: datetime | None = None
    failed_at: datetime | None = None
    failure: str = ""
    second_folder: str = ""
    second_at: datetime | None = None
    second_failed_at: datetime | None = None
    second_failure: str = ""
    is_second_elsewhere: bool = False


_read: dict[Path, tuple[tuple[int, int, int], CopiesState]] = {}


def read_state(data_dir: Path) -> CopiesState:
    """Return the state; read again only when the file has changed. A file that is none is an empty state."""
    path = Path(data_dir) / STATE_FILE
    try:
        stat = path.stat()
        version = (stat.st_mtime_ns, stat.st_ino, stat.st_size)
        if path not in _read or _read[path][0] != version:
            _read[path] = (version, _state_of(json.loads(path.read_text(encoding="utf-8"))))
    except (OSError, ValueError):
        return CopiesState()
    return _read[path][1]


def _state_of(said: Any) -> CopiesState:
    if not isinstance(said, dict):
        raise ValueError(said)
    known = {field.name: said[field.name] for field in fields(CopiesState) if field.name in said}
    for name in _MOMENTS & known.keys():
        known[name] = known[name] and datetime.fromisoformat(known[name])
    return CopiesState(**known)


def change_state(data_dir: Path, **changes: Any) -> CopiesState:
    """Write some of the state, at one stroke."""
    state = replace(read_state(data_dir), **changes)
    if not state.folder:
        state = replace(state, folder=str(uuid.uuid4()))
    text = json.dumps(asdict(state), default=datetime.isoformat, indent=1)
    with part_in(Path(data_dir)) as part:
        part.write_text(text, encoding="utf-8")
        os.chmod(part, OWNER_ONLY)
        give_name(part, Path(data_dir) / STATE_FILE, is_replacing=True)
    return state


def folder_name(data_dir: Path) -> str:
    """Return the name that this data folder signs its copies with: others' copies are never thinned out."""
    return read_state(data_dir).folder or change_state(data_dir).folder


def note_good_copy(data_dir: Path) -> None:
    change_state(data_dir, good_at=datetime.now(UTC))
