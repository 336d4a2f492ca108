"""The script that keeps what the check needs: what it names, when it changes, who may have it."""

import json
import re
from pathlib import Path

import pytest
from django.conf import settings as project
from django.template.loader import get_template
from django.urls import reverse

from nursery.views import worker
from nursery.views.worker_files import files_of, sources_of

HASHED = re.compile(r"\.[0-9a-f]{12}\.[^/]+$")
HEAD = get_template("_head.html").template.source


def told(client):
    """What the view tells the script."""
    script = client.get("/sw.js").content.decode()
    return json.loads(re.match(r"self\.takebook = (.*);$", script, re.MULTILINE)[1])


def test_anyone_gets_it_fresh_and_for_the_whole_program(stranger):
    answer = stranger.get(reverse("service-worker"))
    assert answer.status_code == 200
    assert answer.headers["Content-Type"] == "text/javascript; charset=utf-8"
    assert answer.headers["Cache-Control"] == "no-cache"
    assert answer.headers["Service-Worker-Allowed"] == "/"
    assert reverse("service-worker") == "/sw.js"  # update.js registers it there


def test_a_shared_tablet_gets_it_before_anybody_said_who_is_working(idle_tablet):
    for name in ("service-worker", "manifest", "offline"):
        assert idle_tablet.get(reverse(name)).status_code == 200


def test_what_has_not_changed_is_not_sent_again(stranger):
    etag = stranger.get("/sw.js").headers["ETag"]
    assert stranger.get("/sw.js", HTTP_IF_NONE_MATCH=etag).status_code == 304
    assert stranger.get("/sw.js", HTTP_IF_NONE_MATCH=f"W/{etag}").status_code == 304  # as gzip makes it
    assert stranger.get("/sw.js", HTTP_IF_NONE_MATCH='"other"').status_code == 200


def test_takes_no_form(stranger):
    assert stranger.post("/sw.js").status_code == 405


def test_names_every_sheet_of_the_head(stranger):
    sheets = [f"/static/{name}" for name in re.findall(r"css/[\w-]+\.css", HEAD)]
    assert len(sheets) > 20
    assert set(sheets) <= set(told(stranger)["files"])


def test_follows_what_modules_import(stranger):
    files = told(stranger)["files"]
    assert {"/static/js/main.js", "/static/js/update.js", "/static/js/check/page.js"} <= set(files)
    check = Path(project.BASE_DIR) / "static/js/check/page.js"
    imported = re.findall(r'from "\./([\w-]+\.js)"', check.read_text(encoding="utf-8"))
    assert imported
    assert {f"/static/js/check/{name}" for name in imported} <= set(files)


def test_names_htmx_and_the_icon_and_the_reader_of_labels_apart(stranger):
    files, large = told(stranger)["files"], told(stranger)["large"]
    assert [name for name in large if re.search(r"/vendor/zxing-wasm-[^/]+/reader/index\.js$", name)]
    assert [name for name in files if re.search(r"/htmx-2\.min\.js", name)]
    assert "/static/icon.svg" in files
    assert not [name for name in files if "wasm" in name or "/vendor/" in name]


def test_files_have_the_names_under_which_they_were_collected(stranger, collected):
    both = told(stranger)
    files = both["files"] + both["large"]
    assert [name for name in files if not HASHED.search(name)] == []
    assert all((collected / name.removeprefix("/static/")).is_file() for name in files)
    assert len(files) == len(files_of(worker.SHELL_TEMPLATE)) > 40


def test_another_file_makes_another_version(stranger, collected, tmp_path):
    before = told(stranger)
    assert told(stranger) == before
    page = next(name for name in before["files"] if "/check/page." in name)
    (collected / page.removeprefix("/static/")).write_text("// changed")
    worker._script.cache_clear()
    assert told(stranger)["version"] != before["version"]


def test_other_words_on_the_page_make_another_version(stranger, monkeypatch):
    before = told(stranger)["version"]
    sources = {**sources_of(worker.SHELL_TEMPLATE), "flat/check.html": "other words"}
    monkeypatch.setattr(worker, "sources_of", lambda template: sources)
    assert told(stranger)["version"] != before


@pytest.mark.parametrize(
    ("address", "is_never"),
    [
        ("/api/marks", True),
        ("/login", True),
        ("/login?next=/", True),
        ("/logout", True),
        ("/export", True),
        ("/export/ask", True),
        ("/takes?by=pairing&format=csv", True),
        ("/copies/takebook-1.zip", True),
        ("/jobs/11111111-2222-4333-8444-555555555555/file", True),
        ("/", False),
        ("/check", False),
        ("/F3K7QN0/check", False),
        ("/flats?q=format", False),
        ("/logins", False),
    ],
)
def test_what_is_never_answered_from_what_is_kept(stranger, address, is_never):
    patterns = told(stranger)["never"]
    assert any(re.search(pattern, address) for pattern in patterns) == is_never


@pytest.mark.parametrize(
    ("address", "is_quick"),
    [("/", True), ("/check", True), ("/round?place=1", True), ("/F3K7QN0", True), ("/f3k-7qn0/check", True),
     ("/F3K7QN0/check/1", False), ("/takes", False), ("/flats", False), ("/checks", False)],
)  # fmt: skip
def test_only_for_what_the_check_can_show_the_server_is_not_waited_for(stranger, address, is_quick):
    assert any(re.search(pattern, address) for pattern in told(stranger)["quick"]) == is_quick


def test_a_file_that_a_page_names_and_nobody_wrote_is_an_error(monkeypatch):
    monkeypatch.setattr(
        "nursery.views.worker_files.sources_of", lambda template: {"a": "{% static 'js/never-written.js' %}"}
    )
    with pytest.raises(ValueError, match="never-written"):
        files_of("a")
