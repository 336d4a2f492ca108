"""Books, copies and commands as processes, for the tests of backup and restore."""

import json
import subprocess
import sys
import zipfile
from pathlib import Path

from tests.commands.server import ROOT, environment

COUNTS = """
import django; django.setup()
from nursery.models import Account, Cell, Check, DayCount, Flat, Mark, Run
print(*(model.objects.count() for model in (Account, Flat, Run, Cell, Check, Mark, DayCount)))
"""


def manage(command, *arguments, **extra):
    """Run a command of manage.py and return how it ended."""
    return subprocess.run(
        [sys.executable, str(ROOT / "manage.py"), command, *map(str, arguments)],
        capture_output=True, text=True, env=environment(**extra),
    )  # fmt: skip


def run_python(code, **extra):
    """Run code with the settings of a book and return what it printed."""
    extra["DJANGO_SETTINGS_MODULE"] = "nursery.settings"
    ended = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, env=environment(**extra)
    )
    assert ended.returncode == 0, ended.stderr
    return ended.stdout.strip()


def good(ended):
    """Return what a command said that ended well."""
    assert ended.returncode == 0, ended.stderr
    assert "Traceback" not in ended.stderr
    return ended.stdout


def refused(ended):
    """Return why a command refused, in words."""
    assert ended.returncode == 1, ended.stdout
    assert "Traceback" not in ended.stderr
    return ended.stderr


def everything_in(folder):
    """Return names and contents of what lies in a data folder, but for what every command leaves there."""
    kept = {"running.lock", "secret_key", "copies.json"}
    files = [path for path in Path(folder).rglob("*") if path.is_file() and path.name not in kept]
    return {str(path.relative_to(folder)): path.read_bytes() for path in files}


def info_in(archive):
    return json.loads(archive.read("takebook-copy.json"))


def repacked(copy, file, change):
    """Write a copy anew with something else said in it."""
    with zipfile.ZipFile(copy) as archive, zipfile.ZipFile(file, "w") as anew:
        info = info_in(archive)
        change(info)
        anew.writestr("takebook-copy.json", json.dumps(info))
        for name in archive.namelist():
            if name.startswith("book."):
                anew.writestr(name, archive.read(name))
    return file
