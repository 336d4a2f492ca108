"""``backup`` and ``restore`` as a grower meets them: files, folders, words."""

import random
import resource
import shutil
import sqlite3
import stat
import subprocess
import sys
import zipfile

import pytest

from nursery.actions.copies_lock import hold_folder
from tests.commands.copying import (
    COUNTS,
    everything_in,
    good,
    info_in,
    manage,
    refused,
    repacked,
    run_python,
)
from tests.commands.server import ROOT, environment, running, start_and_fail

pytestmark = pytest.mark.sqlite
SESSION = "0123456789abcdefghijklmnopqrstuv"


@pytest.fixture(scope="module")
def book(new_demo_folder, tmp_path_factory):
    """The data folder of a farm, in which somebody is logged in."""
    data = new_demo_folder(tmp_path_factory.mktemp("book") / "data")
    with sqlite3.connect(data / "takebook.sqlite3") as database:
        database.execute("INSERT INTO django_session VALUES (?, 'x', '2099-01-01')", [SESSION])
    database.close()
    return data


@pytest.fixture(scope="module")
def copy(book, tmp_path_factory):
    """A copy of that book."""
    file = tmp_path_factory.mktemp("copy") / "book.takebook"
    said = good(manage("backup", file, "--data", book))
    assert str(file) in said
    return file


def counts(data):
    return run_python(COUNTS, TAKEBOOK_DATA=str(data))


def test_a_copy_is_for_its_owner_only_and_leaves_nothing_beside_it(copy):
    assert stat.S_IMODE(copy.stat().st_mode) == 0o600
    assert [path.name for path in copy.parent.iterdir()] == ["book.takebook"]


def test_a_copy_restored_on_a_new_machine_is_the_same_book(book, copy, tmp_path):
    new = tmp_path / "new"
    said = good(manage("restore", copy, "--data", new))
    logins, flats, *_rest = counts(book).split()
    assert f"{flats} flats" in said and f"{logins} logins" in said and int(flats) > 50
    assert counts(new) == counts(book)
    assert "counts agree" in good(manage("recount", TAKEBOOK_DATA=str(new)))
    with running("--data", new) as server:
        status, path, text = server.send("/login", username="grower", password="demo-farm")
        assert (status, path) == (200, "/")
        assert "Harrow Lane Plants" in text


def test_a_copy_lets_nobody_in(copy, tmp_path):
    with zipfile.ZipFile(copy) as archive:
        assert sorted(archive.namelist()) == ["book.sqlite3", "takebook-copy.json"]  # no secret key
        text = archive.read("book.sqlite3")
    assert SESSION.encode() not in text
    (tmp_path / "book").write_bytes(text)
    with sqlite3.connect(tmp_path / "book") as database:
        assert database.execute("SELECT count(*) FROM django_session").fetchone() == (0,)
    database.close()


def test_a_file_that_is_there_is_replaced_only_when_told_so(book, tmp_path):
    file = tmp_path / "notes.txt"
    file.write_text("not to be lost")
    assert "--force" in refused(manage("backup", file, "--data", book))
    assert file.read_text() == "not to be lost"
    good(manage("backup", file, "--force", "--data", book))
    assert zipfile.is_zipfile(file)
    assert list(tmp_path.iterdir()) == [file]


def test_words_where_there_is_no_place_for_a_copy(book, tmp_path):
    assert "no folder" in refused(manage("backup", tmp_path / "none" / "x", "--data", book))
    assert "is a folder" in refused(manage("backup", tmp_path, "--data", book))
    assert "There is no book" in refused(manage("backup", tmp_path / "x", "--data", tmp_path / "empty"))


def test_a_full_disk_is_said_and_the_copy_before_is_kept(book, tmp_path):
    file = tmp_path / "book.takebook"
    good(manage("backup", file, "--data", book))
    before = file.read_bytes()
    # No file may grow beyond 200 kB, which meets the program where a full disk does.
    limited = subprocess.run(
        [sys.executable, ROOT / "manage.py", "backup", file, "--force", "--data", book],
        capture_output=True, text=True, env=environment(),
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (200_000, 200_000)),
    )  # fmt: skip
    words = refused(limited)
    assert str(tmp_path) in words
    assert file.read_bytes() == before
    assert list(tmp_path.iterdir()) == [file]


# --- what is refused, with nothing touched


def damage(copy, tmp_path, *, at, to):
    text = bytearray(copy.read_bytes())
    text[at : at + len(to)] = to
    file = tmp_path / "damaged.takebook"
    file.write_bytes(text)
    return file


def refuse_and_touch_nothing(file, data):
    before = everything_in(data)
    words = refused(manage("restore", file, "--replace", "--data", data))
    assert everything_in(data) == before
    assert "Nothing was changed" in words
    return words


@pytest.fixture
def other(book, tmp_path):
    """Another data folder with a book in it, for a restore that must not touch it."""
    other = tmp_path / "other"
    shutil.copytree(book, other)
    return other


def test_a_copy_cut_short_is_refused(copy, other, tmp_path):
    file = tmp_path / "short.takebook"
    text = copy.read_bytes()
    file.write_bytes(text[: len(text) * 2 // 3])
    assert "damaged" in refuse_and_touch_nothing(file, other)


def test_a_changed_byte_in_the_book_is_refused(copy, other, tmp_path):
    size = copy.stat().st_size
    file = damage(copy, tmp_path, at=size // 2, to=b"\0\1\2")
    assert "damaged" in refuse_and_touch_nothing(file, other)


@pytest.mark.parametrize("foreign", ["text", "zip", "sqlite", "empty", "missing"])
def test_what_is_no_copy_is_refused(other, tmp_path, foreign):
    file = tmp_path / foreign
    if foreign == "text":
        file.write_text("dear diary")
    elif foreign == "zip":
        with zipfile.ZipFile(file, "w") as archive:
            archive.writestr("photo.jpg", "x")
    elif foreign == "sqlite":
        with sqlite3.connect(file) as database:
            database.execute("CREATE TABLE recipes (id)")
        database.close()
    elif foreign == "empty":
        file.write_bytes(b"")
    before = everything_in(other)
    words = refused(manage("restore", file, "--replace", "--data", other))
    assert ("cannot be read" if foreign == "missing" else "no copy that Takebook made") in words
    assert everything_in(other) == before


@pytest.mark.parametrize(
    "change",
    [
        lambda info: info["migrations"].append("nursery.9999_from_the_future"),
        lambda info: info.update(format=2),
    ],
)
def test_a_copy_of_a_newer_program_is_refused(copy, other, tmp_path, change):
    file = repacked(copy, tmp_path / "new.takebook", change)
    assert "newer Takebook" in refuse_and_touch_nothing(file, other)


def test_a_copy_of_another_kind_of_database_is_refused(copy, other, tmp_path):
    file = repacked(copy, tmp_path / "x.takebook", lambda info: info.update(engine="postgresql"))
    assert "DATABASE_URL" in refuse_and_touch_nothing(file, other)


@pytest.mark.parametrize("change", [{"book_sha256": "0" * 64}, {"book_bytes": 4096}])
def test_a_book_that_is_not_the_one_copied_is_refused(copy, other, tmp_path, change):
    # a well-formed archive, whose own sums agree
    file = repacked(copy, tmp_path / "x.takebook", lambda info: info.update(change))
    assert "damaged" in refuse_and_touch_nothing(file, other)


def test_random_damage_never_becomes_a_book(copy, tmp_path, whole):
    """A byte changed anywhere: either it is refused, or the book that comes out is the same."""
    from nursery.actions.copies_file import CopyFailed, read_info, unpack_book

    with zipfile.ZipFile(copy) as archive:
        wanted = archive.read("book.sqlite3")
    chance, size, refusals = random.Random(7), copy.stat().st_size, 0
    ends = [*range(120), *range(size - 200, size)]
    places = ends + [chance.randrange(size) for _ in range(600 if whole else 60)]
    for place in places:
        byte = copy.read_bytes()[place]
        file = damage(copy, tmp_path, at=place, to=bytes([byte ^ (1 << chance.randrange(8))]))
        out = tmp_path / "out"
        try:
            with out.open("wb") as target:
                unpack_book(file, read_info(file), target)
        except CopyFailed:
            refusals += 1
        else:
            assert out.read_bytes() == wanted, place
    assert refusals > len(places) // 2


def test_a_book_is_not_replaced_unless_told_so_and_then_set_aside(book, copy, other):
    with sqlite3.connect(other / "takebook.sqlite3") as database:
        database.execute("UPDATE nursery_farm SET name = 'The other farm'")
    database.close()
    before = everything_in(other)
    assert "--replace" in refused(manage("restore", copy, "--data", other))
    assert everything_in(other) == before
    said = good(manage("restore", copy, "--replace", "--data", other))
    aside = next((other / "copies").glob("set-aside-*.takebook"))
    assert f"set aside as {aside}" in said
    # and the way back
    assert "The other farm" in good(manage("restore", aside, "--replace", "--data", other))


def test_a_book_too_damaged_to_be_copied_is_set_aside_as_it_is(book, copy, other):
    (other / "takebook.sqlite3").write_bytes(b"no database at all" * 1000)
    good(manage("restore", copy, "--replace", "--data", other))
    aside = next((other / "copies").glob("set-aside-*.sqlite3"))
    assert aside.read_bytes().startswith(b"no database at all")
    assert counts(other) == counts(book)


def test_a_folder_whose_program_runs_is_refused(book, copy, other):
    with hold_folder(other):
        assert "Takebook is running" in refuse_and_touch_nothing(copy, other)
        assert "Takebook is running" in start_and_fail("--data", other).stderr


def test_a_book_that_another_server_has_open_is_refused(copy, other):
    # as runserver does, which holds no lock on the folder: open, idle
    database = sqlite3.connect(other / "takebook.sqlite3")
    database.execute("PRAGMA journal_mode=WAL")
    database.execute("SELECT count(*) FROM nursery_farm").fetchone()
    try:
        assert "has the book" in refused(manage("restore", copy, "--replace", "--data", other))
    finally:
        database.close()
    good(manage("restore", copy, "--replace", "--data", other))


def test_an_older_copy_is_brought_up_to_date(tmp_path):
    old = tmp_path / "old"
    assert manage("migrate", "-v0", "nursery", "0002", TAKEBOOK_DATA=str(old)).returncode == 0
    file = tmp_path / "old.takebook"
    good(manage("backup", file, "--data", old))
    with zipfile.ZipFile(file) as archive:
        assert "nursery.0003_season_as_it_goes" not in info_in(archive)["migrations"]
    new = tmp_path / "new"
    good(manage("restore", file, "--data", new))
    assert manage("migrate", "--check", TAKEBOOK_DATA=str(new)).returncode == 0
