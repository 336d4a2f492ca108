"""``manage.py start`` as a grower meets it: a process, a port, a terminal, a folder."""

import os
import re
import signal
import socket
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from nursery.actions.first_account import KEY_FILE
from nursery.actions.serving import CannotServe, ensure_port_is_free, http_address, lan_address, qr_as_text
from tests.commands.server import ROOT, environment, running, start_and_fail, start_command

pytestmark = pytest.mark.sqlite

FARM = {
    "farm_name": "Brook Farm",
    "time_zone": "Europe/Prague",
    "username": "ada",
    "password": "quite-a-long-one",
}


@pytest.fixture(scope="module")
def seen(tmp_path_factory):
    """One farm's first two days: the book is opened, the program ended, started again and ended by Ctrl-C.

    When it is ended first, a browser keeps its connection open.
    """
    data = tmp_path_factory.mktemp("farm") / "data"
    story = {"data": data}
    elsewhere = tmp_path_factory.mktemp("elsewhere") / "unused"
    with running("--data", data, TAKEBOOK_DATA=str(elsewhere)) as server:
        story["elsewhere"] = elsewhere
        story["first words"] = "".join(server.said)
        story["key"] = key = re.search(r"one-time key: (\S+)", story["first words"])[1]
        story["key mode"] = stat.S_IMODE((data / KEY_FILE).stat().st_mode)
        story["stranger"] = server.ask("/flats")
        story["style sheet"] = server.ask(
            re.search(r'href="(/static/css/base[^"]*)"', story["stranger"][2])[1]
        )
        story["wrong key"] = server.send("/first-account", **FARM, key="0000-0000-0000")
        story["right key"] = server.send("/first-account", **FARM, key=key.lower())
        story["key is left"] = (data / KEY_FILE).exists()
        story["first account again"] = server.ask("/first-account")
        story["groups"] = groups_of(server.process.pid)
        with socket.create_connection(("127.0.0.1", server.port)) as browser:
            browser.sendall(b"GET /login HTTP/1.1\r\nHost: farm\r\n\r\n")
            story["kept connection"] = browser.recv(12)
            story["ended"] = server.stop()
    with running("--data", data) as server:
        story["second words"] = "".join(server.said)
        story["login"] = server.send("/login", username="ada", password=FARM["password"])
        story["ended again"] = server.stop(signal.SIGINT)
    return story


def groups_of(pid):
    """Return the process groups of a process and of its children."""
    children = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    return os.getpgid(pid), {os.getpgid(int(child)) for child in children}


def test_asks_for_the_first_login_where_there_is_none(seen):
    assert seen["stranger"][:2] == (200, "/first-account")


def test_serves_style_sheets_under_hashed_names(seen):
    status, path, text = seen["style sheet"]
    assert status == 200
    assert re.search(r"base\.[0-9a-f]{12}\.css$", path)
    assert "@layer base" in text


def test_the_key_is_for_its_owner_only(seen):
    assert seen["key mode"] == 0o600


def test_a_wrong_key_makes_no_login(seen):
    status, path, text = seen["wrong key"]
    assert (status, path) == (422, "/first-account")
    assert "not the key" in text


def test_the_right_key_opens_the_book(seen):
    status, path, text = seen["right key"]
    assert (status, path) == (200, "/")
    assert "<h1>Brook Farm</h1>" in text


def test_the_key_works_once(seen):
    assert not seen["key is left"]
    assert seen["first account again"][1] != "/first-account"


def test_data_beats_the_variable(seen):
    assert (seen["data"] / "takebook.sqlite3").exists()
    assert not seen["elsewhere"].exists()


def test_started_again_it_has_kept_everything(seen):
    assert "one-time key" not in seen["second words"]
    assert seen["login"][:2] == (200, "/")
    assert "<h1>Brook Farm</h1>" in seen["login"][2]


@pytest.mark.parametrize("ending", ["ended", "ended again"])
def test_sigterm_and_ctrl_c_end_it_cleanly(seen, ending):
    code, words = seen[ending]
    assert code == 0
    assert "Traceback" not in words
    assert "WARNING" not in words.upper()


def test_the_worker_leaves_the_group_that_ctrl_c_goes_to(seen):
    own, of_children = seen["groups"]
    assert of_children - {own}


def test_ends_cleanly_while_a_browser_keeps_its_connection(seen):
    assert seen["kept connection"] == b"HTTP/1.1 200"
    assert seen["ended"][0] == 0


def test_a_busy_port_is_said_in_one_sentence(tmp_path):
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        ended = start_and_fail("--port", port, "--data", tmp_path)
    assert ended.returncode == 1
    assert ended.stderr.startswith(f"Port {port} is in use")
    assert f"--port {port + 1}" in ended.stderr
    assert ended.stderr.count("\n") == 1


def test_a_folder_that_cannot_be_used_is_said_in_one_sentence(tmp_path):
    (tmp_path / "file").write_text("")
    ended = start_and_fail("--data", tmp_path / "file" / "data")
    assert ended.returncode == 1
    assert "cannot be used" in ended.stderr
    assert "--data DIR" in ended.stderr
    assert ended.stderr.count("\n") == 1


def test_a_missing_library_is_named_with_the_remedy(tmp_path):
    command = [sys.executable, "-S", *start_command("--data", tmp_path)[1:]]  # -S: without site-packages
    ended = subprocess.run(command, capture_output=True, text=True, env=environment())
    assert ended.returncode == 1
    assert "django is missing" in ended.stderr
    assert "pip install" in ended.stderr
    assert "Traceback" not in ended.stderr


def test_an_old_python_is_named():
    code = (
        f"import sys; sys.path.insert(0, {str(ROOT)!r}); import manage; "
        "manage.OLDEST_PYTHON = (99, 1); manage.main()"
    )
    ended = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, env=environment())
    assert ended.returncode == 1
    assert "needs Python 99.1 or newer" in ended.stderr


def test_the_symbol_in_the_terminal_reads_as_the_address():
    import zxingcpp
    from PIL import Image

    address = "http://192.168.1.20:8000"
    lines = qr_as_text(address).splitlines()
    # A character is one module wide and two high: upper and lower half.
    image = Image.new("L", (len(lines[0]), 2 * len(lines)), 255)
    for y, line in enumerate(lines):
        for x, character in enumerate(line):
            for half, dark_in in enumerate(("█▀", "█▄")):
                image.putpixel((x, 2 * y + half), 0 if character in dark_in else 255)
    big = image.resize((image.width * 6, image.height * 6), Image.NEAREST)
    assert [found.text for found in zxingcpp.read_barcodes(big)] == [address]


@pytest.mark.parametrize(
    ("host", "lan"), [("127.0.0.1", None), ("localhost", None), ("192.0.2.7", "192.0.2.7")]
)
def test_names_the_network_address_only_where_others_reach_it(host, lan):
    assert lan_address(host) == lan


def test_writes_an_address_as_browsers_want_it():
    assert http_address("192.0.2.7", 80) == "http://192.0.2.7"
    assert http_address("fd00::7", 8000) == "http://[fd00::7]:8000"


@pytest.mark.parametrize(
    ("host", "port", "remedy"), [("192.0.2.7", 8000, "leave it out"), ("127.0.0.1", 70000, "65535")]
)
def test_an_address_that_cannot_be_listened_on_is_refused(host, port, remedy):
    with pytest.raises(CannotServe, match=remedy):
        ensure_port_is_free(host, port)
