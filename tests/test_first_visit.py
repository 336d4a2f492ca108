"""How much a tablet loads to show the check of a flat for the first time, as it comes over the air."""

import gzip
import re
from urllib.parse import urljoin

import pytest
from django.test import Client

from nursery.views import worker
from nursery.views.worker_files import files_of
from tests.factories import make_flat, make_run

PLAIN_HTML, ALL_OF_IT = 30_000, 150_000  # bytes; kB = 1000 bytes, the stricter reading
NAMED = re.compile(
    r"""<(?:script|link|img)\b[^>]*?\b(?:src|href)="(?P<tag>/static/[^"]+)"
    |\burl\(["']?(?P<sheet>(?!data:)[^"')]+)
    |^\s*(?:import|export)\b(?:[^"';=(]*\bfrom)?\s*["'](?P<module>[^"']+)["']""",
    re.VERBOSE | re.MULTILINE,
)


def everything_of(html, folder):
    """Return what a page loads before anything is touched: address and bytes on the way."""
    found = {}
    waiting = [("/", html)]
    while waiting:
        base, text = waiting.pop()
        for named in NAMED.finditer(text):
            url = urljoin(base, named["tag"] or named["sheet"] or named["module"])
            if url.startswith("/static/") and url not in found:
                file = folder / url.removeprefix("/static/")
                packed = file.with_name(f"{file.name}.gz")
                found[url] = (packed if packed.exists() else file).stat().st_size
                is_text = file.suffix in {".js", ".css"}
                waiting += [(url, file.read_text(encoding="utf-8"))] if is_text else []
    return found


@pytest.fixture
def check(farm, bob, collected):
    """The check page of a flat of 288 as it comes, and what it loads."""
    flat = make_flat(rows=12, columns=24)
    make_run(flat, places=range(1, 289))
    client = Client(headers={"Accept-Encoding": "gzip"})
    client.force_login(bob)
    answer = client.get(f"/{flat.code}/check")
    assert answer.status_code == 200
    html = gzip.decompress(answer.content).decode()
    return answer.content, html, everything_of(html, collected)


def test_the_page_of_a_large_flat_is_small(check):
    page, html, _files = check
    assert len(html.encode()) <= PLAIN_HTML
    assert len(page) < len(html) / 2


def test_a_first_visit_is_small_with_everything(check, stranger):
    page, _html, files = check
    assert len(files) > 40
    assert [url for url in files if "/check/page." in url]
    assert not [url for url in files if url.endswith(".wasm")]
    extra = [
        gzip.compress(stranger.get(path).content) for path in ("/sw.js", "/manifest.webmanifest", "/offline")
    ]
    total = len(page) + sum(files.values()) + sum(map(len, extra))
    assert total <= ALL_OF_IT


def test_what_the_page_loads_is_what_the_worker_keeps(check):
    _page, _html, files = check
    kept = set(files_of(worker.SHELL_TEMPLATE))
    assert set(files) <= kept
