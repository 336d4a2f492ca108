"""The static files as a farm serves them: collected, hashed, and whole."""

import json

import pytest
from django.core.management import call_command

from nursery.staticstorage import HashedStaticStorage


@pytest.fixture
def collected(settings, tmp_path):
    """Collect the static files into a folder of the test's own."""
    settings.STATIC_ROOT = tmp_path
    backend = f"{HashedStaticStorage.__module__}.{HashedStaticStorage.__qualname__}"
    settings.STORAGES = {**settings.STORAGES, "staticfiles": {"BACKEND": backend}}
    call_command("collectstatic", interactive=False, verbosity=0)
    return tmp_path


def test_every_file_gets_a_hashed_name_and_modules_import_hashed_ones(collected):
    paths = json.loads((collected / "staticfiles.json").read_text(encoding="utf-8"))["paths"]
    main = (collected / paths["js/main.js"]).read_text(encoding="utf-8")
    assert paths["css/tokens.css"] != "css/tokens.css"
    assert f'"./{paths["js/dialog.js"].removeprefix("js/")}"' in main
    assert '"./dialog.js"' not in main
    assert "django_htmx/htmx-2.min.js" in paths


def test_a_missing_file_of_our_own_is_an_error(tmp_path):
    storage = HashedStaticStorage(location=tmp_path)
    with pytest.raises(ValueError, match="could not be found"):
        storage.hashed_name("js/never-written.js")
