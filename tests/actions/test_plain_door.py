"""The plain port beside HTTPS: where it leads, what it hands out, and what it does not believe."""

import http.client
import json
import socket
import time

import pytest

from nursery.actions.plain_door import Answer, Asked, Door
from nursery.actions.plain_door_server import LARGEST_HEAD, as_bytes, open_door
from tests.commands.server import free_port

ANDROID = "Mozilla/5.0 (Linux; Android 14; Tablet) Chrome/130"
IPAD = "Mozilla/5.0 (Macintosh; Intel Mac OS X 10_15_7) Version/17.4 Safari/605.1.15"
HOSTS = frozenset({"192.168.1.20", "bench.local", "localhost", "fd00::7"})


@pytest.fixture
def door(tmp_path):
    (tmp_path / "static").mkdir()
    (tmp_path / "static" / "base.css").write_text("body {}")
    (tmp_path / "secret_key").write_text("the key")
    return Door(
        https_port=8443, hosts=lambda: HOSTS, own_host=lambda: "192.168.1.20", root=lambda: b"\x30root",
        page=lambda address, host: f"<h1>{address} {host}</h1>", static=tmp_path / "static",
    )  # fmt: skip


def asked(door, target, **more):
    return door.answer(Asked(**{"method": "GET", "target": target, "host": "192.168.1.20:8000", **more}))


@pytest.mark.parametrize("method", ["GET", "HEAD"])
@pytest.mark.parametrize(
    "target",
    ["/F3K7QNX", "/login?next=/flats", "/flats?q=a%20b&q=%0d%0aX:%201", "//evil.example/x", "/a;b=c"],
)
def test_leads_every_address_to_the_same_over_https(door, method, target):
    answer = asked(door, target, method=method)
    assert answer.status == 307
    assert answer.headers["Location"] == f"https://192.168.1.20:8443{target}"
    assert answer.headers["Cache-Control"] == "no-store"


def test_letters_beyond_ascii_are_written_as_browsers_write_them(door):
    sent = "/flats?q=büro&r=à".encode().decode("latin-1")  # as the server reads bytes
    assert asked(door, sent).headers["Location"].endswith("/flats?q=b%C3%BCro&r=%C3%A0")


@pytest.mark.parametrize("target", ["", "F3K", "*", "/a\rb", "/a\nX: 1", "/a b", "/a\x00", "/\x7f", "a:80"])
def test_what_is_no_address_is_refused(door, target):
    answer = asked(door, target)
    assert answer.status == 400
    assert "Location" not in answer.headers


def test_an_address_in_full_leads_to_this_machine(door):
    location = asked(door, "http://evil.example/F3K7QNX?a=1").headers["Location"]
    assert location == "https://192.168.1.20:8443/F3K7QNX?a=1"


@pytest.mark.parametrize(
    ("host", "led_to"),
    [
        ("bench.local:8000", "bench.local"),
        ("BENCH.local.", "bench.local"),
        ("localhost", "localhost"),
        ("[FD00:0::7]:8000", "[fd00::7]"),
        ("192.168.1.20:8000", "192.168.1.20"),
        ("evil.example", "192.168.1.20"),
        ("bench.local@evil.example", "192.168.1.20"),
        ("bench.local:8000@evil.example", "192.168.1.20"),
        ("bench.local/evil", "192.168.1.20"),
        ("bench.local.evil.example", "192.168.1.20"),
        ("[fd00::8]", "192.168.1.20"),
        ("[::::]", "192.168.1.20"),
        ("bench.local\r\nX: 1", "192.168.1.20"),
        ("", "192.168.1.20"),
    ],
)
def test_believes_a_host_only_where_it_names_this_machine(door, host, led_to):
    assert asked(door, "/x", host=host).headers["Location"] == f"https://{led_to}:8443/x"
    assert f"https://{led_to}:8443" in asked(door, "/trust", host=host).headers["Content-Security-Policy"]


def test_what_is_sent_is_refused_in_words(door):
    answer = asked(door, "/login", method="POST")
    assert answer.status == 403
    assert b"Nothing was stored" in answer.body
    assert "Location" not in answer.headers


def test_marks_sent_here_are_refused_as_a_script_reads_it(door):
    answer = asked(door, "/api/marks", method="POST")
    said = json.loads(answer.body)
    assert (answer.status, said["error"]) == (403, "moved")
    assert said["address"] == "https://192.168.1.20:8443"


def test_hands_out_the_root_as_each_tablet_needs_it(door):
    for agent, kind in ((ANDROID, "attachment"), (IPAD, "inline"), ("", "inline")):
        answer = asked(door, "/farm-root.crt", agent=agent)
        assert answer.headers["Content-Type"] == "application/x-x509-ca-cert"
        assert answer.headers["Content-Disposition"] == f'{kind}; filename="farm-root.crt"'
        assert answer.body == b"\x30root"


@pytest.mark.parametrize("target", ["/", "/trust", "/trust?from=label"])
def test_shows_the_page_that_says_how_to_trust(door, target):
    answer = asked(door, target)
    assert (answer.status, answer.body) == (200, b"<h1>https://192.168.1.20:8443 192.168.1.20</h1>")
    assert "default-src 'self'" in answer.headers["Content-Security-Policy"]


@pytest.mark.parametrize("target", ["/", "/F3K7QNX"])
def test_has_the_browser_forget_a_login_made_without_encryption(door, target):
    assert asked(door, target).headers["Set-Cookie"].startswith("sessionid=; Max-Age=0")


def test_serves_what_the_page_loads_and_nothing_else_of_the_folder(door):
    assert asked(door, "/static/base.css").body == b"body {}"
    assert asked(door, "/static/base.css").headers["Content-Type"] == "text/css"
    for target in ("/static/../secret_key", "/static/%2e%2e/secret_key", "/static//etc/passwd", "/static/"):
        answer = asked(door, target)
        assert answer.status == 307
        assert b"the key" not in answer.body


def test_a_header_never_ends_its_line():
    with pytest.raises(ValueError, match="line end"):
        as_bytes(Answer(307, {"Location": "https://a\r\nX: 1"}))


@pytest.fixture
def port(door):
    number = free_port()
    with open_door("127.0.0.1", number, door):
        yield number


def spoken(port, words):
    with socket.create_connection(("127.0.0.1", port), timeout=10) as line:
        line.sendall(words)
        return b"".join(iter(lambda: line.recv(65536), b""))


def test_answers_over_the_wire(port):
    line = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
    line.request("GET", "/F3K7QNX?a=1", headers={"Host": "bench.local"})
    answer = line.getresponse()
    assert (answer.status, answer.headers["Location"]) == (307, "https://bench.local:8443/F3K7QNX?a=1")
    assert answer.headers["X-Content-Type-Options"] == "nosniff"


def test_a_head_has_the_length_and_no_body(port):
    said = spoken(port, b"HEAD /farm-root.crt HTTP/1.1\r\nHost: localhost\r\n\r\n")
    assert b"\r\nContent-Length: 5\r\n" in said
    assert said.endswith(b"\r\n\r\n")


def test_what_is_sent_is_read_before_it_is_refused(port):
    """Else the connection is reset, and the words of the refusal are lost with it."""
    with socket.create_connection(("127.0.0.1", port), timeout=10) as line:
        line.sendall(b"POST /api/marks HTTP/1.1\r\nContent-Length: 1000000\r\n\r\n")
        for _ in range(10):
            time.sleep(0.02)
            line.sendall(b"x" * 100_000)
        assert b"".join(iter(lambda: line.recv(65536), b"")).startswith(b"HTTP/1.1 403")


@pytest.mark.parametrize(
    "words",
    [b"nonsense\r\n\r\n", b"GET / HTTP/9\r\n\r\n", b"GET /a\rSet-Cookie:x=1 HTTP/1.1\r\n\r\n", b"\r\n\r\n"],
)
def test_nonsense_is_answered_as_such(port, words):
    said = spoken(port, words)
    assert said.startswith(b"HTTP/1.1 400")
    assert b"x=1" not in said


def test_an_endless_head_is_hung_up_on(port):
    assert spoken(port, b"GET /" + b"a" * (2 * LARGEST_HEAD)) == b""


def test_silent_browsers_keep_nobody_waiting(port):
    silent = [socket.create_connection(("127.0.0.1", port)) for _ in range(100)]
    began = time.monotonic()
    assert spoken(port, b"GET /F3K HTTP/1.1\r\nHost: localhost\r\n\r\n").startswith(b"HTTP/1.1 307")
    assert time.monotonic() - began < 2
    for line in silent:
        line.close()


def test_the_port_is_free_again_afterwards(door):
    number = free_port()
    for _ in range(2):
        with open_door("127.0.0.1", number, door):
            assert spoken(number, b"GET / HTTP/1.0\r\n\r\n").startswith(b"HTTP/1.1 200")
    with pytest.raises(OSError):
        socket.create_connection(("127.0.0.1", number), timeout=1)
