"""The static files as a farm serves them: collected, hashed, and whole."""

import gzip
import json

import pytest
from django.core.management import call_command
from django.http import HttpResponse
from django.test import RequestFactory
from whitenoise.middleware import WhiteNoiseMiddleware

from nursery.staticstorage import HashedStaticStorage


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


def packed(folder):
    return {file: file.stat().st_mtime_ns for file in folder.rglob("*.gz")}


def test_what_shrinks_lies_there_compressed(collected):
    paths = json.loads((collected / "staticfiles.json").read_text(encoding="utf-8"))["paths"]
    sheet = collected / paths["css/flat.css"]
    copy = sheet.with_name(f"{sheet.name}.gz")
    assert gzip.decompress(copy.read_bytes()) == sheet.read_bytes()
    assert copy.stat().st_size < sheet.stat().st_size / 2
    assert copy.stat().st_mode & 0o444 == 0o444
    assert not list(collected.glob("*.png.gz"))
    assert [file for file in collected.rglob("*") if file.name.startswith("tmp")] == []


def test_a_second_start_compresses_nothing_again(collected):
    before = packed(collected)
    call_command("collectstatic", interactive=False, verbosity=0)
    assert len(before) > 40
    assert packed(collected) == before


def test_a_start_that_was_cut_off_is_made_good(collected):
    before = packed(collected)
    lost = next(iter(before))
    lost.unlink()
    call_command("collectstatic", interactive=False, verbosity=0)
    assert packed(collected).keys() == before.keys()


@pytest.fixture
def served(collected, db):
    """Return a function that starts the program's static files anew and asks for one of them."""

    def ask(address):
        asked = WhiteNoiseMiddleware(lambda request: HttpResponse(status=404))
        answer = asked(RequestFactory().get(address, HTTP_ACCEPT_ENCODING="gzip"))
        body = b"".join(answer)
        answer.close()
        return answer.status_code, body, answer.headers

    return ask


def test_files_of_the_version_before_are_still_served_after_an_update(collected, served):
    paths = json.loads((collected / "staticfiles.json").read_text(encoding="utf-8"))["paths"]
    # The version before had another text in this module.
    old = collected / "js" / f"zoom.{'0' * 12}.js"
    old.write_text("// as it was", encoding="utf-8")
    call_command("collectstatic", interactive=False, verbosity=0)  # the start of the new version
    assert served(f"/static/js/{old.name}")[:2] == (200, b"// as it was")
    assert served(f"/static/{paths['js/zoom.js']}")[0] == 200


def test_files_go_out_compressed_and_may_be_kept_for_good(collected, served):
    paths = json.loads((collected / "staticfiles.json").read_text(encoding="utf-8"))["paths"]
    status, body, headers = served(f"/static/{paths['css/flat.css']}")
    assert (status, headers["Content-Encoding"]) == (200, "gzip")
    assert gzip.decompress(body) == (collected / paths["css/flat.css"]).read_bytes()
    assert "immutable" in headers["Cache-Control"]
