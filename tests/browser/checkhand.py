"""A finger on the check of a flat, and what the check came to."""

from django.utils import timezone
from playwright.sync_api import expect

from nursery.actions.states import flat_states
from nursery.models import DayCount


class Hand:
    """A finger on the check of one flat, which counts its touches."""

    def __init__(self, page, flat):
        self.page, self.flat, self.touches = page, flat, 0
        page.goto(f"/{flat.code}/check")

    def cell(self, number):
        return self.page.locator(f'.cell[data-cell="{number}"]')

    def button(self, name):
        return self.page.get_by_role("button", name=name, exact=True)

    def touch(self, what):
        self.touches += 1
        (self.cell(what) if isinstance(what, int) else self.button(what)).tap()

    def again(self, number):
        """Touch a cell a second time."""
        self.touch(number)

    def sees(self, number, label, pressed=None):
        expect(self.cell(number)).to_have_attribute("aria-label", label)
        if pressed is not None:
            expect(self.cell(number)).to_have_attribute("aria-pressed", str(pressed).lower())

    def counts(self, text):
        expect(self.page.locator("#check-count")).to_have_text(text)

    def says(self, text):
        expect(self.page.locator("#check-note")).to_have_text(text)

    def is_saved(self, text="All saved"):
        line = self.page.locator("#check-saved")
        if text == "All saved":
            expect(line).to_have_attribute("data-waits", "0", timeout=15000)
        expect(line).to_contain_text(text, use_inner_text=True, timeout=15000)

    def close(self):
        self.touch("Close check")
        self.lands()

    def lands(self):
        self.page.wait_for_url("**?closed=*", timeout=20000)


def causes(flat):
    """The cause of each dead or wilting place, as it stands."""
    cells = flat_states(flat, day=timezone.localdate()).values()
    return {cell.place_no: cell.cause for cell in cells if cell.state in ("dead", "wilting")}


def day():
    """The counts of the flat's last day: alive, wilting, dead."""
    count = DayCount.objects.order_by("-day").first()
    return count.alive, count.wilting, count.dead
