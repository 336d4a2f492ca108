"""Chromium and the farm's own certificate: trusted, not trusted, and stolen.

The root is put into Chromium's store as a person would (certutil of libnss3-tools); where that is missing,
Chromium is told to take this one certificate, which shows the program but not the trust.
"""

import base64
import hashlib
import http.server
import os
import shutil
import ssl
import subprocess
import sys
import threading
from contextlib import nullcontext
from datetime import UTC, datetime

import pytest
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat
from cryptography.x509 import load_pem_x509_certificate
from playwright.sync_api import Error, expect

from nursery.actions.https_names import parsed_name
from nursery.actions.https_root import make_leaf, make_root
from tests.browser.conftest import CHROMIUM_ARGS, TABLET
from tests.browser.looker import Looker
from tests.commands.server import ROOT, environment, free_port, running, wait_for

NO_CERTUTIL = "certutil of libnss3-tools is not installed"

needs_certutil = pytest.mark.skipif(not shutil.which("certutil"), reason=NO_CERTUTIL)

MAKE_LOGIN = """
from nursery.models import Account, Farm
Farm.objects.create(pk=1, name="Brook Farm")
Account.objects.create_user("alice", password="quite-a-long-one", role="grower")
"""


@pytest.fixture(scope="module")
def https_farm(tmp_path_factory):
    """A real program over HTTPS with one login: (data folder, port of HTTPS, plain port)."""
    data, port = tmp_path_factory.mktemp("farm"), free_port()
    manage = [sys.executable, str(ROOT / "manage.py")]
    for command in (["migrate", "-v", "0"], ["shell", "-v", "0", "-c", MAKE_LOGIN]):
        subprocess.run([*manage, *command], env=environment(TAKEBOOK_DATA=str(data)), check=True)
    with running("--data", data, "--https", "--https-port", port) as server:
        wait_for(server.process, port)
        yield data, port, server.port


def trust_in_nss(home, root_pem):
    """Put a root into the stores of the person whose home this is, as Chromium on Linux reads them."""
    (home / "root.pem").write_bytes(root_pem)
    for folder in (home / ".pki" / "nssdb", home / ".local" / "share" / "pki" / "nssdb"):
        folder.mkdir(parents=True)
        for arguments in (
            ["-N", "--empty-password"],
            ["-A", "-t", "C,,", "-n", "farm", "-i", home / "root.pem"],
        ):
            subprocess.run(["certutil", "-d", f"sql:{folder}", *arguments], check=True, capture_output=True)


@pytest.fixture
def tablet(chromium, tmp_path):
    """``tablet(*flags, root=pem)`` opens a page of a Chromium of its own, which trusts that root."""
    contexts = []

    def opened(*flags, root=None):
        home = tmp_path / f"home{len(contexts)}"
        home.mkdir()
        if root:
            trust_in_nss(home, root)
        context = chromium.browser_type.launch_persistent_context(
            home / "profile", executable_path=shutil.which("chromium") or shutil.which("chromium-browser"),
            args=[*CHROMIUM_ARGS, *flags], env={**os.environ, "HOME": str(home)}, viewport=TABLET,
        )  # fmt: skip
        context.set_default_timeout(15000)
        contexts.append(context)
        return context.new_page()

    yield opened
    for context in contexts:
        context.close()


def root_of(data):
    return (data / "https" / "root.pem").read_bytes()


def log_in(page, port):
    page.goto(f"https://127.0.0.1:{port}/login")
    page.get_by_label("Name").fill("alice")
    page.get_by_label("Password").fill("quite-a-long-one")
    page.get_by_role("button", name="Log in").click()
    page.wait_for_url("**/")


def shows(page, ability, finding):
    line = page.locator(f'[data-ability="{ability}"] [data-finding="{finding}"]')
    expect(line).to_be_visible()


def sees_all(page, port):
    """The program over HTTPS is a place where a worker keeps pages."""
    log_in(page, port)
    page.goto(f"https://127.0.0.1:{port}/this-tablet")
    assert page.evaluate("isSecureContext")
    shows(page, "pages", "yes")
    shows(page, "awake", "yes")
    assert page.evaluate("navigator.serviceWorker.ready.then(({active}) => active.scriptURL)").endswith(
        "/sw.js"
    )


@needs_certutil
def test_a_tablet_that_trusts_the_root_can_do_all(https_farm, tablet):
    data, port, plain = https_farm
    page = tablet(root=root_of(data))
    page.goto(f"http://127.0.0.1:{plain}/trust")
    expect(page.locator('[data-state="trusted"]')).to_be_visible()
    sees_all(page, port)


@needs_certutil
def test_the_old_start_address_leads_on_once_it_is_trusted(https_farm, tablet):
    data, port, plain = https_farm
    page = tablet(root=root_of(data))
    page.goto(f"http://127.0.0.1:{plain}/")
    page.wait_for_url(f"https://127.0.0.1:{port}/**")
    page.goto(f"http://127.0.0.1:{plain}/F3K7QN0")
    assert page.url.startswith(f"https://127.0.0.1:{port}/")


def test_chromium_told_to_take_this_certificate_can_do_all(https_farm, tablet):
    data, port, _plain = https_farm
    certificate = load_pem_x509_certificate((data / "https" / "leaf.pem").read_bytes())
    key = certificate.public_key().public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo)
    told = base64.b64encode(hashlib.sha256(key).digest()).decode()
    sees_all(tablet(f"--ignore-certificate-errors-spki-list={told}"), port)


def test_a_tablet_that_does_not_trust_it_is_shown_how(https_farm, tablet):
    _data, port, plain = https_farm
    page = tablet()
    page.goto(f"http://127.0.0.1:{plain}/")
    expect(page.locator('[data-state="untrusted"]')).to_be_visible()
    assert page.url == f"http://127.0.0.1:{plain}/"
    with pytest.raises(Error, match="ERR_CERT_AUTHORITY_INVALID"):
        page.goto(f"https://127.0.0.1:{port}/login")


def test_going_on_past_the_warning_is_told_from_trust(https_farm, chromium):
    _data, port, _plain = https_farm
    context = chromium.new_context(ignore_https_errors=True)
    page = context.new_page()
    log_in(page, port)
    page.goto(f"https://127.0.0.1:{port}/this-tablet")
    shows(page, "pages", "untrusted")
    context.close()


WAITING = """
() => new Promise((resolve, reject) => {
  const request = indexedDB.open("takebook", 1);
  request.onupgradeneeded = () => {
    const parts = request.result.createObjectStore("parts", {keyPath: "seq", autoIncrement: true});
    parts.createIndex("waits", "waits");
    for (const noun of ["checks", "marks", "marks", "closings"]) parts.add({noun, waits: 1});
    parts.add({noun: "marks"});
  };
  request.onsuccess = () => { request.result.close(); resolve(); };
  request.onerror = () => reject(request.error);
})
"""


def test_what_waits_under_the_old_address_is_told_there(https_farm, tablet):
    _data, _port, plain = https_farm
    page = tablet()
    page.goto(f"http://127.0.0.1:{plain}/trust")
    expect(page.locator('[data-state="untrusted"]')).to_be_visible()
    expect(page.locator("#tablet-export")).to_be_hidden()
    assert page.evaluate("indexedDB.databases()") == []  # to look leaves nothing behind
    page.evaluate(WAITING)
    page.reload()
    expect(page.locator("#waiting-count")).to_have_text("2")
    expect(page.locator("#tablet-export")).to_be_visible()


@needs_certutil
def test_with_marks_that_wait_the_old_start_address_stays(https_farm, tablet):
    data, _port, plain = https_farm
    page = tablet(root=root_of(data))
    page.goto(f"http://127.0.0.1:{plain}/trust")
    page.evaluate(WAITING)
    page.goto(f"http://127.0.0.1:{plain}/")
    expect(page.locator('[data-state="trusted"]')).to_be_visible()
    expect(page.locator("#tablet-export")).to_be_visible()
    assert page.url == f"http://127.0.0.1:{plain}/"


def test_axe_finds_nothing(https_farm, chromium):
    _data, port, plain = https_farm
    context = chromium.new_context(viewport=TABLET, ignore_https_errors=True)
    looker = Looker(context.new_page())
    looker.open(f"http://127.0.0.1:{plain}/trust")
    log_in(looker.page, port)
    for path in ("/trust", "/this-tablet"):
        looker.open(f"https://127.0.0.1:{port}{path}")
    context.close()
    assert not looker.faults, "\n".join(map(str, looker.faults))


@needs_certutil
@pytest.mark.parametrize(("name", "is_taken"), [("barn.local", True), ("bank.example", False)])
def test_chromium_keeps_to_the_limits_of_the_root(tablet, tmp_path, name, is_taken):
    """Whoever steals the key and signs for a bank gets nowhere with it."""
    now = datetime.now(UTC)
    root = make_root(parsed_name("localhost"), now=now)
    file = tmp_path / "leaf.pem"
    file.write_bytes(make_leaf(root, parsed_name(name), now=now).as_pem())
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(file)
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), http.server.SimpleHTTPRequestHandler) as server:
        server.socket = context.wrap_socket(server.socket, server_side=True)
        threading.Thread(target=server.serve_forever, daemon=True).start()
        trusted = root.certificate.public_bytes(Encoding.PEM)
        page = tablet(f"--host-resolver-rules=MAP {name} 127.0.0.1", root=trusted)
        refusal = nullcontext() if is_taken else pytest.raises(Error, match="ERR_CERT")
        with refusal:
            page.goto(f"https://{name}:{server.server_port}/")
        server.shutdown()
