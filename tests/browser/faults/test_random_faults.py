"""Random sequences of faults: no mark that the page showed as kept is lost, none is doubled.

A few sequences always; with --slow 200 and more, until 10,000 marks were made. The seed is printed: the same
sequences come again with TAKEBOOK_FAULT_SEED=1234, some of them alone with 1234:17 or 1234:17-20.
"""

import os
import random
import time
import traceback
from collections import Counter

import pytest

from tests.browser.faults.farm import Farm
from tests.browser.faults.tablet import Tablet
from tests.browser.faults.walk import FLATS, Walk, rng_of

SAMPLE, WHOLE, WHOLE_MARKS = 6, 200, 10_000


def numbers(whole, alone):
    """The sequences to run, and how many marks they must come to."""
    if alone:
        first, _dash, last = alone.partition("-")
        return range(int(first), int(last or first) + 1), 0
    return (range(1, 4 * WHOLE), WHOLE_MARKS) if whole else (range(1, SAMPLE + 1), 0)


@pytest.fixture
def crew(chromium, forker, own_browser, tmp_path):
    """The farm, a tablet whose browser can be killed, and another."""
    farm = Farm(forker, tmp_path, flats=FLATS).start()
    context = chromium.new_context(viewport={"width": 1024, "height": 768}, has_touch=True, is_mobile=True)
    yield farm, Tablet(own_browser.start(), farm), Tablet(context, farm), own_browser
    context.close()
    farm.kill()


def test_no_mark_is_lost_and_none_doubled_whatever_happens(crew, whole, capsys):
    given = os.environ.get("TAKEBOOK_FAULT_SEED", "")
    seed, _colon, alone = (given or str(random.randrange(10**6))).partition(":")
    wanted, most_marks = numbers(whole, alone)
    began, marks, done, steps, failed = time.monotonic(), 0, 0, Counter(), []
    for number in wanted:
        walk = Walk(*crew, rng_of(seed, number))
        try:
            wrong, made = walk.run()
        except Exception as error:  # a step that failed, or marks that still wait at the end
            wrong, made = traceback.format_exception(error)[-3:], 0
        marks, done = marks + made, done + 1
        steps.update(walk.steps)
        failed += [number] if wrong else []
        with capsys.disabled():
            if wrong:
                print(f"\n  {seed}:{number} {' '.join(walk.steps)}\n    " + "\n    ".join(wrong[:20]))
            if done % 20 == 0:
                print(f"\n  {done} sequences, {marks} marks, {len(failed)} failed so far", end="")
        if whole and not alone and done >= WHOLE and marks >= most_marks:
            break
    with capsys.disabled():
        took = time.monotonic() - began
        print(f"\nfaults: seed {seed}, {done} sequences, {marks} marks, {len(failed)} failed, {took:.0f} s")
        print("  " + ", ".join(f"{name} {count}" for name, count in sorted(steps.items())))
    assert not failed
    assert marks >= most_marks
