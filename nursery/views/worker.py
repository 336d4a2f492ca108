"""What makes the program work without network and as an installed one: service worker, manifest, a page."""

import json
from functools import lru_cache
from pathlib import Path

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.contrib.staticfiles import finders
from django.contrib.staticfiles.storage import staticfiles_storage
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.template.loader import render_to_string
from django.templatetags.static import static
from django.urls import reverse
from django.utils.cache import get_conditional_response
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from nursery.converters import CodeConverter
from nursery.views.worker_files import digest, files_of, is_collected, is_large, sources_of

SHELL, SHELL_TEMPLATE = "/check", "flat/check.html"
SOURCE = "js/sw/worker.js"
# Never answered from what is kept: what logs in or out, what a script asks, and files to be saved.
NEVER = (
    r"^/(?:api/|(?:login|logout|first-account|export|copies|jobs)\b)",
    r"[?&]format=",
)
# What the check can show by itself, so that nobody waits long for the server there.
QUICK = (r"^/(?:check|round|find)?(?:\?|$)", rf"^/{CodeConverter.regex}(?:/check)?(?:\?|$)")
PAPER, BAR = "#f7f5ee", "#1c2420"  # tokens.css, light: --paper and --bar


@require_safe
@login_not_required
def service_worker(request: HttpRequest) -> HttpResponseBase:
    """The script that keeps files and pages. It changes whenever the check, or anything it loads, changes."""
    script = _script(staticfiles_storage.manifest_hash) if is_collected() else _write_script()
    etag = f'"{digest(script.encode())}"'
    headers = {"Cache-Control": "no-cache", "Service-Worker-Allowed": "/", "ETag": etag}
    answer = HttpResponse(script, content_type="text/javascript; charset=utf-8", headers=headers)
    return get_conditional_response(request, etag=etag, response=answer) or answer


@lru_cache(maxsize=1)
def _script(manifest_hash: str) -> str:
    """Write the script once for each state of the collected files."""
    return _write_script()


def _write_script() -> str:
    files = files_of(SHELL_TEMPLATE)
    source = Path(str(finders.find(SOURCE))).read_text(encoding="utf-8")
    told = {
        "files": [url for url in files if not is_large(url)],
        "large": [url for url in files if is_large(url)],
        "statics": settings.STATIC_URL,
        "shell": SHELL,
        "offline": reverse("offline"),
        "never": NEVER,
        "quick": QUICK,
    }
    parts = [source, json.dumps(told), render_to_string("offline.html"), *sources_of(SHELL_TEMPLATE).values()]
    version = digest(*(part.encode() for part in parts), *files.values())
    return f"self.takebook = {json.dumps({'version': version, **told})};\n\n{source}"


@require_safe
@login_not_required
def offline(request: HttpRequest) -> HttpResponse:
    """The page that a browser shows where there is no network and nothing was taken along."""
    return render(request, "offline.html")


@require_safe
@login_not_required
def manifest(request: HttpRequest) -> JsonResponse:
    """How the program looks when it is installed like any other."""
    told = {
        "id": "/",
        "name": "Takebook",
        "short_name": "Takebook",
        "description": _("The book of grafted seedlings, flat by flat, cell by cell."),
        "start_url": "/",
        "scope": "/",
        "display": "standalone",
        "background_color": PAPER,
        "theme_color": BAR,
        "icons": [
            _icon("icon-192.png", "192x192", "any"),
            _icon("icon-512.png", "512x512", "any"),
            _icon("icon-maskable-512.png", "512x512", "maskable"),
        ],
    }
    answer = JsonResponse(told, content_type="application/manifest+json")
    answer.headers["Cache-Control"] = "no-cache"
    return answer


def _icon(name: str, sizes: str, purpose: str) -> dict[str, str]:
    return {"src": static(name), "sizes": sizes, "type": "image/png", "purpose": purpose}
