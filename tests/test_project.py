"""Rules for the whole project: arrows, sizes, headings, logins, files of others, what a tap may load."""

import ast
import hashlib
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from django.urls import URLPattern, get_resolver, reverse

from nursery.calc.codes import near_codes
from tests.commands.server import environment

ROOT = Path(__file__).resolve().parent.parent
LAYERS = ["calc", "labels", "models", "actions", "access", "forms", "views", "urls"]
# What stands beside the layers, and the highest layer it may use.
BESIDE = {"converters": "calc", "middleware": "access", "templatetags": "views", "management": "views"}
READ_BY_ALL = {"settings"}
HEAVY = {"numpy", "scipy", "pandas", "statsmodels", "reportlab", "PIL", "openpyxl"}
LONGEST_FILE, LONGEST_FUNCTION = 400, 50
VENDOR = ROOT / "static" / "vendor"


def python_files(folder="nursery"):
    files = (ROOT / folder).rglob("*.py")
    return sorted(str(file.relative_to(ROOT)) for file in files if "migrations" not in file.parts)


def tree(file):
    return ast.parse((ROOT / file).read_text(encoding="utf-8"))


def imports(node):
    """Yield the dotted name of everything imported anywhere below ``node``."""
    for child in ast.walk(node):
        if isinstance(child, ast.Import):
            yield from (alias.name for alias in child.names)
        elif isinstance(child, ast.ImportFrom):
            assert child.level == 0, "imports are written in full"
            yield from (f"{child.module}.{alias.name}" for alias in child.names)


def floor_of(name):
    """Return how high a part of the package stands, or None for what all may read."""
    return None if name in READ_BY_ALL else LAYERS.index(BESIDE.get(name, name))


@pytest.mark.parametrize("file", python_files())
def test_arrows_point_down(file):
    own = Path(file).parts[1].removesuffix(".py")
    if own not in LAYERS and own not in BESIDE:  # apps, settings, what a server loads: no part of a layer
        ours = [name for name in imports(tree(file)) if name.startswith("nursery.")]
        assert not [name for name in ours if not name.startswith("nursery.wsgi.")]
        return
    ours = [name.split(".")[1] for name in imports(tree(file)) if name.startswith("nursery.")]
    assert not [name for name in ours if (floor_of(name) or 0) > floor_of(own)]


@pytest.mark.parametrize("file", python_files("nursery/calc") + python_files("nursery/labels"))
def test_numbers_and_labels_know_no_django(file):
    assert not [name for name in imports(tree(file)) if name.split(".")[0] == "django"]


@pytest.mark.parametrize("file", python_files())
def test_heavy_libraries_are_imported_where_they_are_used(file):
    at_the_top = [node for node in tree(file).body if isinstance(node, ast.Import | ast.ImportFrom)]
    loaded = {name.split(".")[0] for node in at_the_top for name in imports(node)}
    assert not loaded & HEAVY


@pytest.mark.parametrize("file", python_files() + python_files("tests"))
def test_no_file_is_too_long(file):
    assert len((ROOT / file).read_text(encoding="utf-8").splitlines()) <= LONGEST_FILE


@pytest.mark.parametrize("file", python_files())
def test_no_function_is_too_long(file):
    functions = [n for n in ast.walk(tree(file)) if isinstance(n, ast.FunctionDef | ast.AsyncFunctionDef)]
    assert not [n.name for n in functions if n.end_lineno - n.lineno + 1 > LONGEST_FUNCTION]


def patterns():
    return [pattern for pattern in get_resolver().url_patterns if isinstance(pattern, URLPattern)]


def plain_names():
    return sorted(p.name for p in patterns() if not p.pattern.regex.groups)


EXAMPLES = {
    "CodeConverter": next(code for code in near_codes("F3K7QN0") if code[0] == "F"),
    "UUIDConverter": "11111111-2222-4333-8444-555555555555",
    "IntConverter": 1,
    "SlugConverter": "cultivars",
    "StringConverter": "word",
    "PathConverter": "one/two",
}


def address(pattern):
    """Return an address that the pattern matches."""
    given = {name: EXAMPLES[type(c).__name__] for name, c in pattern.pattern.converters.items()}
    return reverse(pattern.name, kwargs=given or dict.fromkeys(pattern.pattern.regex.groupindex, "F3K7QN0"))


# No pages: a form's target, a script's target, and the page that is there only while nobody can log in.
ELSEWHERE = {"put-right-runs": 302, "first-account": 302, "leave-flats": 302, "put-together": 302}


@pytest.mark.parametrize("name", plain_names())
def test_every_page_without_arguments_has_one_heading(grower, name):
    answer = grower.get(reverse(name))
    if answer.status_code == 405:
        return
    assert grower.head(reverse(name)).status_code == answer.status_code
    # The search for a code says at once that none was given.
    assert answer.status_code == ELSEWHERE.get(name, 422 if name == "code-find" else 200)
    if answer.status_code != 302 and answer.headers["Content-Type"].startswith("text/html"):
        text = answer.content.decode()
        assert len(re.findall(r"<h1\b", text)) == 1
        assert "default-src 'self'" in answer.headers["Content-Security-Policy"]
        assert inline_parts(text) == []


def inline_parts(text):
    """Return the scripts, styles and handlers that the content policy would block."""
    scripts = [
        tag for tag in re.findall(r"<script\b[^>]*>", text) if " src=" not in tag and "json" not in tag
    ]
    return scripts + re.findall(r"<style\b|<[^>]*\s(?:style|on[a-z]+)=", text)


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/flats?q=a%00", 200),
        ("/records/crops?q=a%00", 200),
        ("/records/places/%00", 404),
        ("/records/places/new?copy=%00", 404),
        ("/accounts/by-name/%00", 404),
        ("/find?code=%00", 422),
    ],
)
def test_a_nul_in_an_address_is_no_error_of_ours(grower, path, status):
    assert grower.get(path).status_code == status  # PostgreSQL refuses to look for one


# With a login in the book the first account's page leads there. The last three show nothing of the farm's.
OPEN = {"login", "manifest", "service-worker", "offline"}


@pytest.mark.parametrize("method", ["get", "post"])
def test_nothing_but_logging_in_answers_without_a_login(stranger, alice, method):
    answered = {}
    for pattern in patterns():
        answer = getattr(stranger, method)(address(pattern))
        is_closed = answer.status_code == 302 and answer.url.startswith(reverse("login"))
        if not is_closed and answer.status_code not in {401, 405}:
            answered[pattern.name] = answer.status_code
    assert set(answered) <= OPEN


def test_the_open_pages_are_the_ones_meant(stranger, alice):
    assert {stranger.get(reverse(name)).status_code for name in OPEN} == {200}


def vendor_rows():
    text = (VENDOR / "README.md").read_text(encoding="utf-8")
    return dict(re.findall(r"^\| ([^|]+?) \|.*?\| ([0-9a-f]{64}) \|", text, re.MULTILINE))


def test_files_of_others_lie_here_as_written_down():
    files = [
        file for file in VENDOR.rglob("*") if file.is_file() and file.name not in {"README.md", "LICENSE"}
    ]
    found = {str(f.relative_to(VENDOR)): hashlib.sha256(f.read_bytes()).hexdigest() for f in files}
    assert found == vendor_rows()


def test_files_of_others_keep_their_licence():
    for folder in filter(Path.is_dir, VENDOR.iterdir()):
        assert (folder / "LICENSE").exists()


SERVE_TAPS_AND_LISTS = """
import sys, uuid
import django
django.setup()
from django.core.management import call_command
from django.test import Client
call_command("collectstatic", interactive=False, verbosity=0)
from nursery.models import Account, Farm, Mark
from tests.factories import make_run
Farm.objects.create(pk=1, name="Test farm")
run = make_run()
client = Client()
client.force_login(Account.objects.create_user("alice", role="grower"))
check, at = str(uuid.uuid4()), "2026-03-09T09:00:00.000Z"
batch = {
    "v": 1, "device": str(uuid.uuid4()), "sent_at": at, "worker": None,
    "checks": [{"uuid": check, "flat": run.flat.code, "opened_at": at, "kind": "whole", "seen_places": None,
                "cause": ""}],
    "marks": [{"uuid": str(uuid.uuid4()), "check": check, "cell": "17", "kind": "seen", "state": "dead",
               "cause": "", "reason": "", "replaces": [], "at": at}],
    "closings": [],
}
assert client.post("/api/marks", batch, content_type="application/json").status_code == 200
assert Mark.objects.count() == 1
for page in ("/", "/flats", "/bench", "/records", f"/{run.flat.code}", f"/{run.flat.code}/check"):
    assert client.get(page).status_code == 200, page
print(*sorted({name.split(".")[0] for name in sys.modules}))
"""


@pytest.mark.sqlite
def test_a_process_that_served_taps_and_lists_has_loaded_nothing_heavy(migrated_book, tmp_path):
    shutil.copyfile(migrated_book, tmp_path / "takebook.sqlite3")
    extra = {"TAKEBOOK_DATA": str(tmp_path), "DJANGO_SETTINGS_MODULE": "nursery.settings"}
    ended = subprocess.run(
        [sys.executable, "-c", SERVE_TAPS_AND_LISTS],
        capture_output=True, text=True, cwd=ROOT, env=environment(**extra),
    )  # fmt: skip
    assert ended.returncode == 0, ended.stderr
    loaded = set(ended.stdout.split())
    assert "nursery" in loaded
    assert not loaded & HEAVY


def test_ci_runs_the_command_of_the_readme():
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    commands = re.findall(r"^    (.*-m tests)$", readme, re.MULTILINE)
    assert len(commands) == 1
    assert commands[0] in (ROOT / ".ci" / "run").read_text(encoding="utf-8").splitlines()
