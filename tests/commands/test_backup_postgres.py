"""``backup`` and ``restore`` of a book in PostgreSQL."""

import zipfile

import pytest

from tests.commands.copying import COUNTS, good, info_in, manage, refused, repacked, run_python

pytestmark = pytest.mark.sqlite  # brings its own server
NAME_OF_FARM = (
    "import django; django.setup(); from nursery.models import Farm; print(Farm.objects.get().name)"
)


@pytest.fixture(scope="module")
def book(new_demo_database, tmp_path_factory):
    return {**new_demo_database(), "TAKEBOOK_DATA": str(tmp_path_factory.mktemp("book"))}


@pytest.fixture(scope="module")
def copy(book, tmp_path_factory):
    file = tmp_path_factory.mktemp("copy") / "book.takebook"
    good(manage("backup", file, **book))
    return file


@pytest.fixture
def other(new_demo_database, tmp_path):
    """Another farm's book."""
    other = {**new_demo_database(), "TAKEBOOK_DATA": str(tmp_path / "other")}
    run_python(
        "import django; django.setup(); from nursery.models import Farm; Farm.objects.update(name='Other')",
        **other,
    )
    return other


def test_a_dump_of_the_book_and_nothing_secret_is_in_the_copy(book, copy):
    with zipfile.ZipFile(copy) as archive:
        assert sorted(archive.namelist()) == ["book.pgdump", "takebook-copy.json"]
        _logins, flats, *_rest = run_python(COUNTS, **book).split()
        assert info_in(archive)["counts"]["nursery_flat"] == int(flats) > 50


def test_a_book_is_replaced_only_when_told_so_and_then_set_aside(book, copy, other, tmp_path):
    assert "--replace" in refused(manage("restore", copy, **other))
    assert run_python(NAME_OF_FARM, **other) == "Other"
    good(manage("restore", copy, "--replace", **other))
    assert run_python(COUNTS, **other) == run_python(COUNTS, **book)
    assert run_python(NAME_OF_FARM, **other) == "Harrow Lane Plants"
    aside = next((tmp_path / "other" / "copies").glob("set-aside-*.takebook"))
    good(manage("restore", aside, "--replace", **other))
    assert run_python(NAME_OF_FARM, **other) == "Other"


def test_a_restore_that_fails_halfway_leaves_the_book_as_it_was(copy, other, tmp_path):
    # The dump is whole, but it does not hold what the copy says it held: found out after all of it is in.
    def claim_more(info):
        info["counts"]["nursery_mark"] += 1

    file = repacked(copy, tmp_path / "x.takebook", claim_more)
    assert "nursery_mark is not whole" in refused(manage("restore", file, "--replace", **other))
    assert run_python(NAME_OF_FARM, **other) == "Other"


def test_a_database_that_somebody_is_connected_to_is_refused(copy, other):
    import psycopg

    with psycopg.connect(other["DATABASE_URL"]):
        assert "connected to the database" in refused(manage("restore", copy, "--replace", **other))
    assert run_python(NAME_OF_FARM, **other) == "Other"


def test_a_missing_pg_dump_is_named_with_the_remedy(book, tmp_path):
    words = refused(manage("backup", tmp_path / "x", **{**book, "TAKEBOOK_PG_PROGRAMS": str(tmp_path)}))
    assert "pg_dump was not found" in words
    assert "apt-get install postgresql-client" in words
    assert not list(tmp_path.iterdir())


def test_a_pg_dump_older_than_the_server_is_named_with_the_remedy(book, tmp_path):
    old = tmp_path / "programs" / "pg_dump"
    old.parent.mkdir()
    # what pg_dump 15 says to a server of version 18
    old.write_text(
        "#!/bin/sh\necho 'pg_dump: error: aborting because of server version mismatch' >&2\nexit 1\n"
    )
    old.chmod(0o700)
    words = refused(manage("backup", tmp_path / "x", **{**book, "TAKEBOOK_PG_PROGRAMS": str(old.parent)}))
    assert "older than the PostgreSQL server" in words


def test_a_copy_of_a_sqlite_book_is_refused(copy, other, tmp_path):
    file = repacked(copy, tmp_path / "x.takebook", lambda info: info.update(engine="sqlite"))
    assert "without DATABASE_URL" in refused(manage("restore", file, "--replace", **other))
