"""A label is read without network: the program itself is stopped once the round was taken along."""

import json
import re

import pytest
from playwright.sync_api import expect

from nursery.calc.codes import spoken
from nursery.labels import CodeLabel
from tests.browser.camera import printed, seen
from tests.browser.conftest import CHROMIUM_ARGS, PROGRAM
from tests.browser.scanner import Scanners
from tests.commands.server import free_port, running

ACCOUNT = {"username": "grower", "password": "demo-farm"}


@pytest.fixture
def on_the_demo_farm(chromium, tmp_path):
    """Scanners for a program of its own, that are logged in by the login page."""
    port = free_port()

    def launch(args):
        return chromium.browser_type.launch(executable_path=PROGRAM, args=[*CHROMIUM_ARGS, *args])

    def log_in(context, url):
        page = context.new_page()
        page.goto(f"{url}/login")
        for name, value in ACCOUNT.items():
            page.locator(f"[name={name}]").fill(value)
        page.get_by_role("button", name="Log in", exact=True).tap()
        page.wait_for_url(f"{url}/")
        page.close()

    scanners = Scanners(launch, f"http://127.0.0.1:{port}", log_in, tmp_path)
    yield scanners, lambda: running("--demo", "--data", tmp_path / "data", port=port)
    scanners.close()
    assert scanners.faults == []


def codes_of_round(server):
    server.send("/login", **ACCOUNT)
    data = re.search(r'id="round-data"[^>]*>(.*?)</script>', server.ask("/round")[2])[1]
    return json.loads(data)["codes"]


def test_a_label_of_the_round_is_read_with_the_program_stopped(on_the_demo_farm):
    scanners, started = on_the_demo_farm
    with started() as server:
        codes = codes_of_round(server)
        label = CodeLabel(code=codes[2], address=f"HTTP://192.0.2.7:8000/{codes[2]}")
        scanner = scanners([seen(printed(label))])
        scanner.page.set_default_timeout(20_000)
        scanner.start("/round").page.locator("#round-start").tap()
        scanner.page.wait_for_url(f"**/{codes[0]}/check")
        expect(scanner.page.locator("#flat")).to_be_visible()
    scanner.scan()
    expect(scanner.page.locator("#check-code")).to_have_text(spoken(codes[2]), timeout=20_000)
