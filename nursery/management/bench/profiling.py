"""Why a goal is not met: the functions and the queries that take the time."""

import cProfile
import pstats
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import connection
from django.test.utils import CaptureQueriesContext

FUNCTIONS, QUERIES, IMPORTS = 15, 12, 15
TIMES = 20


def profile_of(act: Callable[[], object], *, times: int = TIMES) -> dict[str, Any]:
    """Return the functions by their own time, and the queries of one call by theirs."""
    profiler = cProfile.Profile()
    for _time in range(times):
        profiler.enable()
        act()
        profiler.disable()
    with CaptureQueriesContext(connection) as queries:
        act()
    stats: Any = pstats.Stats(profiler)
    by_own_time = sorted(stats.stats.items(), key=lambda item: item[1][2], reverse=True)[:FUNCTIONS]
    slowest = sorted(queries.captured_queries, key=lambda query: float(query["time"]), reverse=True)
    return {
        "milliseconds_profiled": round(stats.total_tt / times * 1000, 3),
        "functions": [
            {
                "name": f"{Path(file).name}:{line} {name}",
                "own_ms": round(own / times * 1000, 3),
                "with_callees_ms": round(total / times * 1000, 3),
                "calls": round(calls / times, 1),
            }
            for (file, line, name), (_primitive, calls, own, total, _callers) in by_own_time
        ],
        "queries_count": len(queries),
        "queries": [{"ms": float(q["time"]) * 1000, "sql": q["sql"][:160]} for q in slowest[:QUERIES]],
    }


def import_profile(modules: str) -> dict[str, Any]:
    """Return which imports take the time when a new process loads ``modules`` (-X importtime)."""
    ended = subprocess.run(
        [sys.executable, "-X", "importtime", "-c", f"import {modules}"],
        cwd=settings.BASE_DIR, capture_output=True, text=True,
    )  # fmt: skip
    found = re.findall(r"import time:\s+(\d+) \|\s+(\d+) \| (\s*)(\S+)", ended.stderr)
    packages: dict[str, int] = {}
    for own, _total, _indent, name in found:
        package = (
            ".".join(name.split(".")[:2]) if name.startswith(("nursery", "django")) else name.split(".")[0]
        )
        packages[package] = packages.get(package, 0) + int(own)
    slowest = sorted(packages.items(), key=lambda item: item[1], reverse=True)[:IMPORTS]
    return {
        "modules": len(found),
        "imports_ms": round(sum(packages.values()) / 1000, 1),
        "packages": [{"name": name, "own_ms": round(own / 1000, 1)} for name, own in slowest],
    }
