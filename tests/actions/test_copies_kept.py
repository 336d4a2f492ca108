"""The copies that the program keeps by itself, with the copying itself left out."""

import zipfile
from datetime import UTC, datetime, timedelta

import pytest
from django.conf import settings

from nursery.actions import copies_kept
from nursery.actions.copies_file import CopyFailed, CopyInfo, sum_of, write_copy
from nursery.actions.copies_kept import kept_copies, make_kept_copy
from nursery.actions.copies_lock import hold_copies
from nursery.actions.copies_state import folder_name, read_state

pytestmark = pytest.mark.usefixtures("farm")
NIGHT = datetime(2026, 3, 1, 2, 30)


@pytest.fixture(autouse=True)
def data(tmp_path, settings, monkeypatch):
    settings.DATA_DIR, settings.COPIES_DIR = tmp_path / "data", None
    settings.DATA_DIR.mkdir()
    monkeypatch.setattr(copies_kept, "make_copy", write_small)
    return settings.DATA_DIR


def write_small(target, signed=None):
    """Write a copy with next to nothing in it."""
    book = target.with_name("book.part")
    book.write_bytes(b"book")
    info = CopyInfo(
        format=1, engine="sqlite", made_at=datetime.now(UTC).isoformat(), farm="", migrations=[], counts={},
        folder=signed or folder_name(settings.DATA_DIR), book_bytes=4, book_sha256=sum_of(book),
    )  # fmt: skip
    write_copy(book, info, target)
    book.unlink()
    return info


@pytest.fixture
def night(monkeypatch):
    """Make the copies of some nights in turn."""

    def at(*days):
        for day in days:
            monkeypatch.setattr(copies_kept, "_farm_now", lambda day=day: NIGHT + timedelta(days=day))
            make_kept_copy()

    return at


def names(folder):
    return sorted(path.name for path in folder.glob("*.takebook"))


def test_a_week_of_nights_and_one_of_each_month_are_kept(night, data):
    night(*range(0, 40))
    assert names(data / "copies") == [
        "book-2026-03-31-023000.takebook",
        *(f"book-2026-04-{day:02}-023000.takebook" for day in range(3, 10)),
    ]


def test_what_others_signed_and_what_is_damaged_is_never_thinned_out(night, data):
    (data / "copies").mkdir()
    strange = data / "copies" / "book-2025-03-01-023000.takebook"
    write_small(strange, signed="another data folder")
    write_small(strange.with_name("book-2025-03-02-023000.takebook"), signed="another data folder")
    damaged = data / "copies" / "book-2025-03-03-023000.takebook"
    damaged.write_bytes(b"PK")
    night(*range(10))
    assert strange.exists() and damaged.exists()


def test_both_folders_have_the_copy(night, data, tmp_path, settings):
    settings.COPIES_DIR = tmp_path / "stick"
    settings.COPIES_DIR.mkdir()
    night(*range(10))
    assert names(data / "copies") == names(settings.COPIES_DIR)
    assert len(names(settings.COPIES_DIR)) == 7
    assert read_state(data).second_at


def test_a_stick_that_was_pulled_out_breaks_nothing_and_is_said(night, data, tmp_path, settings):
    settings.COPIES_DIR = tmp_path / "stick"
    night(0)
    state = read_state(data)
    assert len(names(data / "copies")) == 1
    assert state.good_at is None and state.kept_at  # good_at is noted by make_copy, which is left out here
    assert "plug in its disk" in state.second_failure
    assert not settings.COPIES_DIR.exists()
    settings.COPIES_DIR.mkdir()
    night(1)
    assert read_state(data).second_failure == ""


def test_the_empty_folder_of_a_stick_that_is_out_is_not_taken_for_it(
    night, data, tmp_path, settings, monkeypatch
):
    settings.COPIES_DIR = tmp_path / "stick"
    settings.COPIES_DIR.mkdir()
    with monkeypatch.context() as plugged_in:
        plugged_in.setattr(copies_kept, "_is_elsewhere", lambda folder: True)
        night(0)
    night(1)
    assert "not plugged in" in read_state(data).second_failure
    assert len(names(settings.COPIES_DIR)) == 1


def test_a_failure_is_noted_in_words_and_the_copies_before_are_kept(night, data, monkeypatch):
    night(0)

    def fail(target):
        raise CopyFailed("The disk is full.")

    monkeypatch.setattr(copies_kept, "make_copy", fail)
    with pytest.raises(CopyFailed):
        night(1)
    state = read_state(data)
    assert state.failure == "The disk is full."
    assert state.failed_at
    assert len(names(data / "copies")) == 1


def test_a_good_copy_ends_the_failure(night, data):
    copies_kept.change_state(data, failure="The disk is full.", failed_at=datetime.now(UTC))
    night(0)
    assert read_state(data).failure == ""


def test_two_at_once_are_one(data):
    (data / "copies").mkdir()
    with hold_copies(data / "copies"), pytest.raises(CopyFailed, match="Another copy"):
        make_kept_copy()


def test_what_a_power_cut_left_is_swept_away(night, data):
    (data / "copies").mkdir()
    left = data / "copies" / ".takebook-abc.part"
    left.write_bytes(b"half")
    night(0)
    assert not left.exists()


def test_lists_the_newest_first(night):
    night(0, 1)
    assert [copy.made_at.day for copy in kept_copies()] == [2, 1]


def test_a_kept_copy_is_a_copy(night, data):
    night(0)
    assert zipfile.is_zipfile(data / "copies" / names(data / "copies")[0])
