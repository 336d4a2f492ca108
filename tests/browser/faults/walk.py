"""A walk with a tablet through whatever can go wrong, step by step, each step drawn by lot.

Sequence ``n`` of a seed is the same each time, as far as the machine's timing lets it be. ``Walk.steps``
tells what was done, so that a walk which fails can be read.
"""

import json
import random
from collections import Counter

from playwright.sync_api import Error

FLATS = 3
ROWS, COLUMNS = "ABCDEF", 12
CELLS = range(1, len(ROWS) * COLUMNS + 1)
# What may happen next, and how often beside the others.
STEPS = {
    "burst": 9, "fingers": 2, "row": 7, "all": 2, "mode": 2, "undo": 5, "redo": 3, "next_flat": 4,
    "reload": 3, "kill_browser": 1, "offline": 3, "online": 3, "wrong_clock": 2,
    "stop_server": 2, "kill_server": 2, "start_server": 5, "plan": 6, "log_out": 1,
    "resend": 3, "reorder": 2, "other_tablet": 4,
}  # fmt: skip
FAULTS = ["kill", "kill", "kill-first", "lost", "lost", "hold", "500", "503", "full"]


class Walk:
    """One sequence: ``tablet`` is the one that suffers, ``other`` the one that marks the same flats."""

    def __init__(self, farm, tablet, other, browser, rng):
        self.farm, self.tablet, self.other, self.browser, self.rng = farm, tablet, other, browser, rng
        self.steps = []
        self.unsure = Counter()  # touched in the moment before the page or the browser went: kept or not
        self.is_online, self.is_lost, self.other_is_open = True, False, False

    def run(self):
        self._begin()
        for _n in range(self.rng.randint(10, 18)):
            self._do(self.rng.choices(list(STEPS), STEPS.values())[0])
        self._do("_end")
        return self._losses()

    def _do(self, step):
        self.steps.append(step)
        getattr(self, step)()

    def _begin(self):
        self.farm.renew(flats=FLATS)
        self.farm.start()
        if not self.browser.process:
            self.tablet.use(self.browser.start())
        self.tablet.offline(False).new_tab().forgets_all().log_in("bob")
        self.has_round = self.rng.random() < 0.7
        self.steps.append("round" if self.has_round else "flat")
        if self.has_round:
            self.tablet.starts_round()
        else:
            self.tablet.opens(self.rng.choice(self.farm.codes))
        self.code = self.tablet.flat

    # --- the finger

    @property
    def can_touch(self):
        return not self.is_lost

    def _cells(self, most):
        return [f'.cell[data-cell="{cell}"]' for cell in self.rng.sample(CELLS, self.rng.randint(1, most))]

    def burst(self):
        if self.can_touch:
            self.tablet.taps_fast(*self._cells(10))

    def fingers(self):
        if self.can_touch:
            for selector in self._cells(2):
                self.tablet.touches(selector).settles()

    def row(self):
        if self.can_touch:
            self.tablet.taps_fast(f'[data-row="{self.rng.choice(ROWS)}"]')

    def all(self):
        if self.can_touch:
            self.tablet.taps_fast("[data-all]")

    def mode(self):
        if self.can_touch:
            self.tablet.taps_fast(f'[data-mode="{self.rng.choice(["dead", "wilting"])}"]')

    def undo(self):
        self._back("#check-undo")

    def redo(self):
        self._back("#check-redo")

    def _back(self, button):
        for _n in range(self.rng.randint(1, 2)):
            if self.can_touch:
                self.tablet.taps_fast(button)
                self.tablet.page.wait_for_timeout(60)  # it may lead to another flat
                self.tablet.settles()
        self._note_flat()

    def next_flat(self):
        if not self.can_touch or not self.has_round:
            return
        page = self.tablet.page
        page.wait_for_timeout(720)
        self.tablet.taps_fast("#check-close")
        if page.locator("#check-still").evaluate("(dialog) => dialog.open"):
            self.tablet.taps_fast("#check-close-still")
        page.wait_for_timeout(120)
        if page.locator("#check-flat").is_hidden():  # the round is done: any flat of it may be opened again
            self.has_round = False
            self._opens(self.rng.choice(self.farm.codes))
        self._close_list()
        self._note_flat()

    def _close_list(self):
        if self.can_touch and self.tablet.page.locator("#round-list").evaluate("(list) => list.open"):
            self.tablet.taps_fast("#round-list [data-closes]")

    def _note_flat(self):
        if self.can_touch:
            self.code = self.tablet.flat

    # --- the tablet

    def _opens(self, code):
        """Open a flat; without network it may not be there."""
        self.code = code
        try:
            self.tablet.page.goto(f"{self.farm.url}/{code}/check")
            self.is_lost = not self.tablet.page.locator("#check-saved").count()
            if not self.is_lost:
                self.tablet.page.wait_for_function(SHOWN)
                self.is_lost = self.tablet.page.locator("#check-flat").is_hidden()
        except Error:
            self.is_lost = True

    def _touches_and(self, goes):
        """Touch some cells and do not wait: what comes now comes at once."""
        if self.can_touch:
            cells = self._cells(8)
            for cell in cells:
                self.unsure[self.code, cell.split('"')[1]] += 1
            self.tablet.taps_fast(*cells, waits=False)
            self.tablet.page.wait_for_timeout(self.rng.choice([0, 5, 20, 60]))
        goes()

    def reload(self):
        self._touches_and(lambda: self._opens(self.code))

    def kill_browser(self):
        self._touches_and(self.browser.kill)
        self.tablet.use(self.browser.start())
        if self.rng.random() < 0.7:
            self.tablet.put_session_back()
        self.tablet.offline(not self.is_online)
        self._opens(self.code)

    def offline(self):
        self.is_online = False
        self.tablet.offline()

    def online(self):
        self.is_online = True
        self.tablet.offline(False)
        if self.is_lost:
            self._opens(self.code)

    def wrong_clock(self):
        if self.can_touch:
            self.tablet.clock(days=self.rng.choice([-20, -5, -2, -1, 0, 1, 2, 4]))

    # --- the server

    def stop_server(self):
        self.farm.stop()

    def kill_server(self):
        self.farm.kill()

    def start_server(self):
        self.farm.start()
        if self.is_lost and self.is_online:
            self._opens(self.code)

    def plan(self):
        self.farm.plan(*self.rng.choices(FAULTS, k=self.rng.randint(1, 2)))
        self.burst()
        if self.can_touch:
            self.tablet.hurries().page.wait_for_timeout(self.rng.choice([0, 150, 400]))

    def log_out(self):
        if self.farm.is_up:
            self.farm.look("end_sessions")

    # --- the same again, and others

    def resend(self):
        if self.tablet.batches and self.farm.is_up:
            self._post(self.rng.choice(self.tablet.batches))

    def reorder(self):
        """Every batch so far, and halves of them, in any order."""
        if not self.farm.is_up:
            return
        batches = [half for batch in self.tablet.batches[-6:] for half in [batch, *halves(batch)]]
        self.rng.shuffle(batches)
        for batch in batches:
            if self.farm.is_up:
                self._post(batch)

    def _post(self, batch):
        self.farm.plan()
        try:
            status, _answer = self.farm.post(batch, self.farm.look("log_in", username="bob"))
        except OSError:
            assert not self.farm.is_up  # killed by what was planned for the batch before
        else:
            assert status == 200

    def other_tablet(self):
        if not self.farm.is_up:
            return
        self.farm.plan()
        try:
            self._other_marks()
        except Error:
            assert not self.farm.is_up  # killed by what was planned for the batch before

    def _other_marks(self):
        other = self.other
        if not self.other_is_open:
            other.new_tab().forgets_all()
            self.other_is_open = True
        other.log_in("dora").opens(self.code)
        selectors = self._cells(6) if self.rng.random() < 0.6 else [f'[data-row="{self.rng.choice(ROWS)}"]']
        other.taps_fast(*selectors)
        if self.rng.random() < 0.4:
            other.taps_fast("#check-undo")

    # --- the end

    def _end(self):
        """Everything works again, and everybody is logged in: what waits must arrive."""
        self.farm.plan()
        self.tablet.log_in("bob")
        for _try in range(2):  # what was planned for the last batch may kill the server once more
            self.farm.start()
            self.online()
        assert not self.is_lost, self.tablet.page.url
        self.tablet.settles().drains(meanwhile=self.farm.start)
        if self.other_is_open:
            self.other.log_in("dora").opens(self.code).settles().drains()

    def _losses(self):
        """What is not as it must be, in words; and how many marks were made."""
        marks = self.farm.look("marks")
        wrong = self.farm.look("proof")
        devices = [(self.tablet, self.unsure), (self.other, Counter())][: 2 if self.other_is_open else 1]
        ours = set()
        for tablet, unsure in devices:
            device = tablet.device
            ours.add(device)
            there = Counter((mark["flat"], mark["cell"]) for mark in marks if mark["device"] == device)
            for place, count in (tablet.kept - there).items():
                wrong.append(f"LOST: {count} of {place}, shown as kept {tablet.kept[place]} times")
            for place, count in (there - tablet.touched - unsure).items():
                wrong.append(f"DOUBLED: {count} of {place}, touched {tablet.touched[place]} times")
            if refused := tablet.parts("refused"):
                wrong.append(f"REFUSED: {[(one['noun'], one['reason']) for one in refused]}")
        wrong += [f"of nobody: {mark}" for mark in marks if mark["device"] not in ours]
        if len({mark["uuid"] for mark in marks}) != len(marks):
            wrong.append("a UUID is there twice")
        return wrong, len(marks)


SHOWN = """() => document.querySelector('.cell[data-cell]') !== null
  && document.getElementById('check-count').textContent !== ''
  || !document.getElementById('check-none').hidden"""


def halves(batch):
    """A batch in two: the checks and the first of its marks, and the rest."""
    data = json.loads(batch)
    middle = len(data["marks"]) // 2
    first = {**data, "marks": data["marks"][:middle], "closings": []}
    second = {**data, "checks": [], "marks": data["marks"][middle:]}
    return [json.dumps(part).encode() for part in (first, second)]


def rng_of(seed, number):
    return random.Random(f"{seed}/{number}")
