"""The cast: Alice keeps the records, Bob is crew with a login of his own, Charlie is the shared tablet."""

import os
import shutil
import tempfile

os.environ.setdefault("TAKEBOOK_DATA", tempfile.mkdtemp(prefix="takebook-test-"))

import pytest
from django.conf import settings
from django.core.management import call_command
from django.db import connection
from django.test import Client, override_settings

from nursery import access
from nursery.actions import wrong_tries
from nursery.models import Account, Farm, Worker
from nursery.staticstorage import HashedStaticStorage
from tests import copied

# For all tests, the fixtures of whole modules among them: a quick hash, and static files under plain names.
settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
settings.STORAGES = {
    **settings.STORAGES,
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}

# Wrong passwords are counted in a file; the tests of each process have their own, and begin at nought.
wrong_tries.FILE = f"wrong-tries-{os.getpid()}.sqlite3"


@pytest.fixture(autouse=True)
def nobody_guessed():
    (settings.DATA_DIR / wrong_tries.FILE).unlink(missing_ok=True)


@pytest.fixture(scope="session")
def shared_folder(request, tmp_path_factory):
    """A folder of this run that all its processes have in common."""
    own = tmp_path_factory.getbasetemp()
    return own.parent if hasattr(request.config, "workerinput") else own


@pytest.fixture(scope="session")
def migrated_book(request, shared_folder):
    """An SQLite file with every migration applied, to be copied; kept from run to run."""
    cache = getattr(request.config, "cache", None)
    return copied.migrated_file(cache.mkdir("migrated") if cache else shared_folder)


@pytest.fixture(scope="session")
def django_db_modify_db_settings(request, django_db_modify_db_settings_parallel_suffix):
    """The test database begins as a copy of a migrated one.

    In a file where requests of a browser overlap: in memory, readers and writers would lock each other out.
    """
    options, test = connection.settings_dict["OPTIONS"], connection.settings_dict["TEST"]
    test["MIGRATE"] = False  # what the copy brings is all there is to do
    if connection.vendor == "postgresql":
        test["TEMPLATE"] = copied.migrated_database(os.environ["DATABASE_URL"])
        return
    copied.copy_before_migrating(request.getfixturevalue("migrated_book"))
    if any("browser" in item.keywords for item in request.session.items):
        test["NAME"] = settings.DATA_DIR / f"test-{os.getpid()}.sqlite3"
        options["init_command"] = options["init_command"].replace("synchronous=FULL", "synchronous=OFF")


@pytest.fixture(scope="module")
def demo_farm(request, django_db_setup, django_db_blocker):
    """The demonstration farm as of ``DEMO_NOW`` in place of the empty book, for all tests of a module."""
    with django_db_blocker.unblock():
        if connection.vendor == "postgresql":
            url = os.environ["DATABASE_URL"]
            name = copied.demo_database(url, "demo", now=copied.DEMO_NOW)
            standing_in = copied.database_in_place(connection, url, name)
        else:
            folder, migrated = map(request.getfixturevalue, ("shared_folder", "migrated_book"))
            path = copied.demo_file(folder, "demo", migrated=migrated, now=copied.DEMO_NOW)
            standing_in = copied.file_in_place(connection, path)
        with standing_in:
            yield


def pytest_addoption(parser):
    parser.addoption("--slow", action="store_true", help="run the whole of the slow tests, not a sample")


@pytest.fixture(scope="session")
def whole(request):
    """True where the slow tests shall run in full."""
    return request.config.getoption("--slow")


def under_hashed_names():
    backend = f"{HashedStaticStorage.__module__}.{HashedStaticStorage.__qualname__}"
    return {**settings.STORAGES, "staticfiles": {"BACKEND": backend}}


@pytest.fixture(scope="session")
def collected_once(tmp_path_factory):
    """Static files as a farm serves them, to be copied."""
    folder = tmp_path_factory.mktemp("collected")
    with override_settings(STATIC_ROOT=folder, STORAGES=under_hashed_names()):
        call_command("collectstatic", interactive=False, verbosity=0)
    return folder


@pytest.fixture
def collected(collected_once, settings, tmp_path):
    """Static files as a farm serves them, in a folder of the test's own."""
    shutil.copytree(collected_once, tmp_path, dirs_exist_ok=True)
    settings.STATIC_ROOT, settings.STORAGES = tmp_path, under_hashed_names()
    return tmp_path


@pytest.fixture
def farm(db):
    return Farm.objects.create(pk=1, name="Test farm", label_address="http://192.0.2.7:8000")


@pytest.fixture
def alice(db):
    return Account.objects.create_user("alice", password="a-long-password", role="grower")


@pytest.fixture
def bob(db):
    account = Account.objects.create_user("bob", password="a-long-password", role="crew")
    Worker.objects.create(name="Bob", account=account)
    return account


@pytest.fixture
def charlie(db):
    return Account.objects.create_user("charlie", password="a-long-password", role="crew", is_shared=True)


def _client(account):
    client = Client()
    client.force_login(account)
    return client


@pytest.fixture
def grower(farm, alice):
    """A browser in which Alice is logged in."""
    return _client(alice)


@pytest.fixture
def crew(farm, bob):
    """A browser in which Bob is logged in."""
    return _client(bob)


@pytest.fixture
def idle_tablet(farm, charlie):
    """The shared tablet before anybody said who is working."""
    return _client(charlie)


@pytest.fixture
def tablet(idle_tablet):
    """The shared tablet in Dora's hands."""
    session = idle_tablet.session
    session[access.WORKER_IN_SESSION] = str(Worker.objects.create(name="Dora").key)
    session.save()
    return idle_tablet


@pytest.fixture
def stranger(farm):
    """A browser in which nobody is logged in."""
    return Client()
