"""``manage.py start --https`` as a process: HTTPS with a chain that verifies, the plain port beside it."""

import hashlib
import http.cookiejar
import re
import socket
import ssl
import stat
import subprocess
import sys
import time
import urllib.error
import urllib.request
import zipfile
from email.utils import parsedate_to_datetime

import pytest

from tests.commands.server import (
    ROOT,
    environment,
    free_port,
    running,
    start_and_fail,
    wait_for,
)
from tests.commands.test_start import FARM

pytestmark = pytest.mark.sqlite


class NoRedirect(urllib.request.HTTPRedirectHandler):
    def redirect_request(self, *args, **kwargs):
        return None


class Visitor:
    """A browser that trusts what it is given, and keeps cookies."""

    def __init__(self, port, context):
        self.base, self.jar = f"https://127.0.0.1:{port}", http.cookiejar.CookieJar()
        handlers = [
            urllib.request.HTTPSHandler(context=context),
            urllib.request.HTTPCookieProcessor(self.jar),
        ]
        self.opener = urllib.request.build_opener(*handlers)

    def ask(self, path, form=None):
        data = urllib.parse.urlencode(form).encode() if form else None
        # As browsers do: the origin is what the CSRF check compares.
        headers = {"Origin": self.base, "Referer": self.base + path} if form else {}
        try:
            answer = self.opener.open(urllib.request.Request(self.base + path, data, headers), timeout=20)
        except urllib.error.HTTPError as error:
            answer = error
        return answer.status, urllib.parse.urlsplit(answer.url).path, answer.read().decode(), answer.headers

    def send(self, path, **form):
        token = re.search(r'name="csrfmiddlewaretoken" value="(\w+)"', self.ask(path)[2])[1]
        return self.ask(path, {"csrfmiddlewaretoken": token, **form})


def plainly(port, path, **headers):
    """Ask the plain port and return its first answer."""
    opener = urllib.request.build_opener(NoRedirect)
    try:
        answer = opener.open(urllib.request.Request(f"http://127.0.0.1:{port}{path}", headers=headers))
    except urllib.error.HTTPError as error:
        answer = error
    return answer.status, answer.headers, answer.read()


def trusting(root):
    return ssl.create_default_context(cadata=root)


@pytest.fixture(scope="module")
def seen(tmp_path_factory):
    """A farm is opened over HTTPS, the program ended and started again; what was seen on the way."""
    data, port = tmp_path_factory.mktemp("farm") / "data", free_port()
    story = {"data": data, "port": port}
    with running("--data", data, "--https", "--https-port", port) as server:
        wait_for(server.process, port)
        story["plain"] = plain = server.port
        story["words"] = "".join(server.said)
        story["root"] = root = plainly(plain, "/farm-root.crt")
        visitor = Visitor(port, trusting(root[2]))
        key = re.search(r"one-time key: (\S+)", story["words"])[1]
        story["opened"] = visitor.send("/first-account", **FARM, key=key)
        story["cookies"] = {cookie.name: cookie for cookie in visitor.jar}
        story["trust"], story["tablet"] = visitor.ask("/trust"), visitor.ask("/this-tablet")
        with pytest.raises(urllib.error.URLError) as stranger:
            Visitor(port, ssl.create_default_context()).ask("/login")
        story["without trust"] = stranger.value.reason
        story["label"] = plainly(plain, "/F3K7QNX?from=label")
        story["evil host"] = plainly(plain, "/F3K7QNX", Host="evil.example")
        story["door"] = plainly(plain, "/trust")
        style = re.search(r'href="(/static/css/trust[^"]*)"', story["door"][2].decode())[1]
        story["style"] = plainly(plain, style)
        story["copy"] = subprocess.run(
            [sys.executable, str(ROOT / "manage.py"), "backup", str(data / "one.takebook")],
            env=environment(TAKEBOOK_DATA=str(data)), capture_output=True, text=True,
        )  # fmt: skip
        story["ended"] = server.stop()
    with running("--data", data, "--https", "--https-port", port) as server:
        wait_for(server.process, port)
        story["root again"] = plainly(server.port, "/farm-root.crt")
        story["login"] = Visitor(port, trusting(root[2])).send(
            "/login", username="ada", password=FARM["password"]
        )
        story["ended again"] = server.stop()
    return story


def test_answers_over_https_whoever_trusts_the_root(seen):
    status, path, text, headers = seen["opened"]
    assert (status, path) == (200, "/")
    assert "<h1>Brook Farm</h1>" in text
    assert "Strict-Transport-Security" not in headers


def test_whoever_does_not_trust_it_is_warned(seen):
    assert isinstance(seen["without trust"], ssl.SSLCertVerificationError)


def test_every_cookie_is_for_https_alone(seen):
    assert {"__Host-sessionid", "__Host-csrftoken"} < set(seen["cookies"])
    assert all(cookie.secure for cookie in seen["cookies"].values())


def test_a_label_leads_from_the_plain_port_to_the_same_over_https(seen):
    status, headers, _body = seen["label"]
    assert (status, headers["Location"]) == (307, f"https://127.0.0.1:{seen['port']}/F3K7QNX?from=label")


def test_a_foreign_host_is_not_led_to(seen):
    assert seen["evil host"][1]["Location"] == f"https://127.0.0.1:{seen['port']}/F3K7QNX"


def test_the_plain_port_hands_out_the_root(seen):
    status, headers, body = seen["root"]
    assert (status, headers["Content-Type"]) == (200, "application/x-x509-ca-cert")
    assert body == (seen["data"] / "https" / "root.crt").read_bytes()
    fingerprint = hashlib.sha256(body).digest().hex(" ").upper()
    assert fingerprint in seen["words"]
    assert fingerprint in seen["door"][2].decode()
    assert fingerprint in seen["trust"][2]


def test_the_plain_port_shows_the_page_in_the_look_of_the_house(seen):
    status, headers, body = seen["door"]
    text = body.decode()
    assert (status, len(re.findall("<h1", text))) == (200, 1)
    assert "default-src 'self'" in headers["Content-Security-Policy"]
    assert not re.findall(r"<style\b|<[^>]*\s(?:style|on[a-z]+)=", text)
    assert (seen["style"][0], seen["style"][1]["Content-Type"]) == (200, "text/css")


def test_the_page_in_the_program_leads_the_tablet_to_the_plain_port(seen):
    assert re.search(rf"http://[\d.]+:{seen['plain']}/trust", seen["trust"][2])
    assert f"http://127.0.0.1:{seen['plain']}/trust" in seen["tablet"][2]


def test_says_where_it_is_and_where_to_learn_to_trust_it(seen):
    assert f"https://127.0.0.1:{seen['port']}" in seen["words"]
    assert f"http://127.0.0.1:{seen['plain']}/trust" in seen["words"]


def test_the_keys_are_for_their_owner_only_and_in_no_copy(seen):
    folder = seen["data"] / "https"
    for name in ("root.pem", "leaf.pem"):
        assert stat.S_IMODE((folder / name).stat().st_mode) == 0o600
    assert seen["copy"].returncode == 0, seen["copy"].stderr
    with zipfile.ZipFile(seen["data"] / "one.takebook") as copy:
        assert sorted(copy.namelist()) == ["book.sqlite3", "takebook-copy.json"]
        assert not any(b"PRIVATE KEY" in copy.read(name) for name in copy.namelist())


def test_started_again_it_has_the_same_root(seen):
    assert seen["root again"][2] == seen["root"][2]
    assert seen["login"][:2] == (200, "/")


@pytest.mark.parametrize("ending", ["ended", "ended again"])
def test_ends_cleanly(seen, ending):
    code, words = seen[ending]
    assert code == 0
    assert "Traceback" not in words
    assert "WARNING" not in words.upper()


def handshake(port, context):
    """Return the serial number of what is served, and its end."""
    with (
        socket.create_connection(("127.0.0.1", port), timeout=10) as line,
        context.wrap_socket(line, server_hostname="127.0.0.1") as talk,
    ):
        told = talk.getpeercert()
    return told["serialNumber"], parsedate_to_datetime(told["notAfter"].replace("GMT", "+0000"))


IMPATIENT = """
import runpy, sys
from nursery.actions import https_keeper
https_keeper.LOOK_EVERY_SECONDS = 0.2
sys.argv = ["manage.py", *sys.argv[1:]]
if __name__ == "__main__":
    runpy.run_path("manage.py", run_name="__main__")
"""


def test_while_it_runs_a_new_certificate_is_taken_over_without_a_gap(tmp_path):
    """The watch looks every 0.2 s here; the certificate is lost, as if it had come to its end."""
    plain, port = free_port(), free_port()
    script = tmp_path / "impatient.py"
    script.write_text(IMPATIENT)
    command = [sys.executable, str(script), "start", "--host", "127.0.0.1", "--port", plain]
    command += ["--data", tmp_path / "data", "--https", "--https-port", port]
    process = subprocess.Popen(
        list(map(str, command)), cwd=ROOT, env=environment(PYTHONPATH=str(ROOT)),
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
    )  # fmt: skip
    try:
        wait_for(process, port)
        root = plainly(plain, "/farm-root.crt")[2]
        first, _end = handshake(port, trusting(root))
        (tmp_path / "data" / "https" / "leaf.pem").unlink()
        deadline = time.monotonic() + 30
        while (serial := handshake(port, trusting(root))[0]) == first and time.monotonic() < deadline:
            time.sleep(0.1)  # a handshake that failed meanwhile would have raised
        assert serial != first
        assert plainly(plain, "/farm-root.crt")[2] == root
    finally:
        process.terminate()
        words = process.communicate(timeout=30)[0]
    assert process.returncode == 0, words
    assert "A new certificate was made" in words


def busy():
    line = socket.socket()
    line.bind(("127.0.0.1", 0))
    line.listen()
    return line


def test_a_busy_port_is_said_in_one_sentence_whichever_it_is(tmp_path):
    with busy() as other:
        taken, free = other.getsockname()[1], free_port()
        for option, rest in (("--port", ["--https-port", free]), ("--https-port", ["--port", free])):
            ended = start_and_fail(option, taken, *rest, "--https", "--data", tmp_path)
            assert ended.returncode == 1
            assert ended.stderr.startswith(f"Port {taken} is in use")
            assert f"as {option} {taken + 1}" in ended.stderr
            assert ended.stderr.count("\n") == 1


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--https-port", "70000"], "--https-port 70000: a port lies between"),
        (["--port", "70000"], "--port 70000: a port lies between"),
        (["--https-name", "https://farm"], "--https-name https://farm: write a name or an address alone"),
    ],
)
def test_what_cannot_be_is_said_in_one_sentence(new_migrated_folder, tmp_path, options, words):
    new_migrated_folder(tmp_path)
    ports = ["--port", free_port(), "--https-port", free_port()]
    ended = start_and_fail(*ports, "--https", "--data", tmp_path, *options)
    assert ended.returncode == 1
    assert ended.stderr.startswith(words)
    assert ended.stderr.count("\n") == 1


def test_one_port_cannot_be_both(tmp_path):
    port = free_port()
    ended = start_and_fail("--port", port, "--https-port", port, "--https", "--data", tmp_path)
    assert ended.stderr.startswith(f"Port {port} cannot be both")


def test_behind_a_proxy_it_is_not_needed(tmp_path):
    ended = start_and_fail("--https", "--data", tmp_path, "--port", free_port(), TAKEBOOK_HTTPS="1")
    assert "leave out --https" in ended.stderr
