"""The work without network against the program itself: stopped, started anew, brought up to date."""

import re
import shutil

import pytest
from playwright.sync_api import Error, expect

from tests.browser.conftest import TABLET
from tests.browser.test_offline_shell import Tablet
from tests.commands.server import free_port, running

FARM = {"farm_name": "Test farm", "time_zone": "UTC", "username": "alice", "worker_name": "Alice"}
WORD = "a-long-password"


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    """A book in which Alice can log in."""
    data = tmp_path_factory.mktemp("farm") / "data"
    with running("--data", data) as server:
        key = re.search(r"one-time key: (\S+)", "".join(server.said))[1]
        assert server.send("/first-account", **FARM, password=WORD, key=key)[0] == 200
    return data


@pytest.fixture
def data(book, tmp_path):
    return shutil.copytree(book, tmp_path / "data")


@pytest.fixture
def up(data):
    """How the program is run, again and again at the same address, and that address."""
    port = free_port()
    return lambda: running("--data", data, port=port), f"http://127.0.0.1:{port}"


@pytest.fixture
def tablet(chromium, up):
    with chromium.new_context(base_url=up[1], viewport=TABLET, has_touch=True, is_mobile=True) as context:
        context.set_default_timeout(15_000)
        yield Tablet(context.new_page())


def log_in(tablet):
    tablet.goes("/login")
    tablet.page.get_by_label("Name").fill("alice")
    tablet.page.get_by_label("Password").fill(WORD)
    tablet.page.get_by_role("button", name="Log in", exact=True).tap()
    expect(tablet.page.get_by_role("link", name="Working now: Alice")).to_be_visible()
    return tablet.is_ready()


def change_a_file(data):
    """Let the next start serve another version: a file that the check loads has another content."""
    icon = next(file for file in (data / "static").glob("icon.*.svg") if file.name != "icon.svg")
    icon.write_text(icon.read_text(encoding="utf-8") + "\n<!-- changed -->\n", encoding="utf-8")


def static_files_shown(page):
    """The sheets and scripts of the page that is shown, by whether they are there."""
    return page.evaluate("""async () => {
      const named = [...document.querySelectorAll("link[rel=stylesheet], script[src]")];
      const urls = named.map((element) => element.href || element.src);
      return Promise.all(urls.map(async (url) => [url, (await fetch(url).catch(() => ({}))).status]));
    }""")


def test_with_the_server_stopped_the_check_is_there_and_whole(tablet, up):
    started, _url = up
    with started():
        log_in(tablet).keeps()
    tablet.goes("/F3K7QN0/check").shows_the_check()
    files = static_files_shown(tablet.page)
    assert len(files) > 25
    assert {status for _file, status in files} == {200}
    assert all(re.search(r"\.[0-9a-f]{12}\.", file) for file, _status in files)
    with pytest.raises(Error, match="ERR_CONNECTION_REFUSED"):
        tablet.goes("/login")


def test_with_the_server_stopped_and_nothing_taken_along_a_page_says_so(tablet, up):
    started, _url = up
    with started():
        log_in(tablet)
    tablet.goes("/").shows_nothing_kept()
    with started():
        tablet.page.get_by_role("link", name="Try again").tap()
        expect(tablet.page.get_by_role("link", name="Working now: Alice")).to_be_visible()


def test_an_update_of_the_program_keeps_what_was_taken_along(tablet, up, data):
    started, _url = up
    with started():
        log_in(tablet).keeps()
        first = tablet.asks("version")
    change_a_file(data)
    with started():
        tablet.goes("/flats").is_told("A new version is ready.")
        assert tablet.asks("version") == first
        tablet.takes_it()
        assert tablet.asks("version") != first
    tablet.goes("/").shows_the_check()
    assert {status for _file, status in static_files_shown(tablet.page)} == {200}
