"""Which static files a page loads: found in its templates, then by what those files import themselves."""

import hashlib
import re
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urljoin

from django.conf import settings
from django.contrib.staticfiles import finders
from django.contrib.staticfiles.storage import staticfiles_storage
from django.template import engines
from django.template.loader import get_template
from django.templatetags.static import static

_OTHER_TEMPLATES = re.compile(r"\{%\s*(?:extends|include)\s+[\"']([^\"']+)[\"']")
_STATIC_TAG = re.compile(r"\{%\s*static\s+[\"']([^\"']+)[\"']\s*%\}")
_HTMX_TAG = re.compile(r"\{%\s*htmx_script\b[^%]*%\}")
# Modules: "import … from", "export … from", "import()". Sheets: url(), but for pictures written into them.
_NAMES_IN = {
    ".js": re.compile(
        r"^\s*(?:import|export)\b(?:[\w*{}\s,$]+\bfrom)?\s*[\"'](\.{0,2}/[^\"']+)[\"']"
        r"|\bimport\(\s*[\"'](\.{0,2}/[^\"']+)[\"']\s*\)",
        re.MULTILINE,
    ),
    ".css": re.compile(r"\burl\([\"']?(?!data:)([^\"')]+)[\"']?\)"),
}


def sources_of(template: str) -> dict[str, str]:
    """Return the sources of a template and of all that it extends or includes, by name."""
    found: dict[str, str] = {}
    waiting = [template]
    while waiting:
        name = waiting.pop()
        if name not in found:
            found[name] = get_template(name).template.source
            waiting += _OTHER_TEMPLATES.findall(found[name])
    return found


def files_of(template: str) -> dict[str, bytes]:
    """Return the static files that a page of this template may load, each with its content, in order."""
    found: dict[str, bytes] = {}
    waiting = [url for source in sources_of(template).values() for url in _named_in_template(source)]
    while waiting:
        url = waiting.pop()
        if url not in found:
            found[url] = _content(url)
            waiting += _named_in_file(url, found[url])
    return dict(sorted(found.items()))


def _named_in_template(source: str) -> Iterator[str]:
    yield from (static(name) for name in _STATIC_TAG.findall(source))
    for tag in _HTMX_TAG.findall(source):
        script = engines["django"].from_string("{% load django_htmx %}" + tag).render()
        yield from re.findall(r'src="([^"]+)"', script)


def _named_in_file(url: str, content: bytes) -> Iterator[str]:
    names = _NAMES_IN.get(Path(url).suffix)
    for match in names.finditer(content.decode()) if names else ():
        yield urljoin(url, next(filter(None, match.groups())))


def _content(url: str) -> bytes:
    """Return a static file as it is served: collected under its hashed name, or as it lies in the sources."""
    name = url.removeprefix(settings.STATIC_URL)
    if is_collected():
        return Path(staticfiles_storage.path(name)).read_bytes()
    found = finders.find(name)
    if not isinstance(found, str):
        raise ValueError(f"{url} is named by a page, but there is no such static file.")
    return Path(found).read_bytes()


def is_collected() -> bool:
    """True where static files are served under names that hold their hash."""
    return not settings.DEBUG and bool(getattr(staticfiles_storage, "manifest_hash", ""))


def is_large(url: str) -> bool:
    """True for what a page loads only when it is needed: the reader of labels, where the browser has none."""
    return "/vendor/" in url


def digest(*parts: bytes) -> str:
    """Return a short hash over parts, each of which ends where the next begins."""
    whole = hashlib.sha256()
    for part in parts:
        whole.update(len(part).to_bytes(8, "big") + part)
    return whole.hexdigest()[:16]
