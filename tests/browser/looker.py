"""Somebody who looks at pages with axe, dark and light, large and small, and notes what is wrong."""

from axe_playwright_python.base import AXE_SCRIPT

from tests.browser.conftest import PHONE, TABLET

UPRIGHT = {"width": 768, "height": 1024}

# WCAG 2.2 at levels A and AA, axe's best practice, and the contrast of 7:1 that the design asks for.
RULES = {
    "runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
    "rules": {"color-contrast-enhanced": {"enabled": True}, "color-contrast": {"enabled": False}},
    "resultTypes": ["violations"],
    "preload": False,  # only for rules about media, of which there are none
}

# Cells have sizes of their own; a link inside a sentence is part of its line; a tick is touched by its label.
SMALL_CONTROLS = """() => [...document.querySelectorAll("a, button, summary, select, input, textarea")]
  .filter((one) => one.checkVisibility({ visibilityProperty: true }) && !one.matches(".cell, .flat *, .skip"))
  .map((one) => (one.matches("[type=checkbox], [type=radio]") && one.closest("label")) || one)
  .filter((one) => !(one.matches("a") && getComputedStyle(one).display === "inline"))
  .map((one) => [one, one.getBoundingClientRect()])
  .filter(([one, box]) => box.width && (box.height < 43.5 || box.width < 43.5))
  .map(([one, box]) => `${box.width} x ${box.height} ${one.outerHTML.slice(0, 80)}`)"""


class Looker:
    """``faults`` fills up with (address, scheme, width, rule, elements)."""

    def __init__(self, page):
        self.page, self.faults = page, []

    def open(self, address):
        self.page.goto(address)
        self.look()

    def look(self):
        """Look at the page as it comes, dark and large; then light and small with every fold open.

        An open menu lies over the page, so then it is looked at by itself.
        """
        self.page.evaluate(AXE_SCRIPT)
        self._view("dark", TABLET)
        self._measure(UPRIGHT)
        self._unfold("details:not(.menu)")
        self._view("light", PHONE)
        if self._unfold("details.menu"):
            self._run_axe("({ include: ['details.menu'] })", "light", PHONE)
            self._find_small(PHONE)

    def _unfold(self, folds):
        """Open these and return how many there are."""
        opened = "(folds) => [...document.querySelectorAll(folds)].map((fold) => (fold.open = true)).length"
        return self.page.evaluate(opened, folds)

    def _run_axe(self, where, scheme, size):
        for fault in self.page.evaluate(f"(rules) => axe.run({where}, rules)", RULES)["violations"]:
            nodes = [node["html"][:160] for node in fault["nodes"][:3]]
            self.faults.append((self.page.url, scheme, size["width"], fault["id"], nodes))

    def _view(self, scheme, size):
        self.page.set_viewport_size(size)
        self.page.emulate_media(color_scheme=scheme)
        self._run_axe("document", scheme, size)
        self._find_small(size)
        self._measure(size)

    def _find_small(self, size):
        for small in self.page.evaluate(SMALL_CONTROLS):
            self.faults.append((self.page.url, size["width"], "smaller than 44 px", small))

    def _measure(self, size):
        """A telephone widens its window for what is too wide, so the width is compared with the screen's."""
        self.page.set_viewport_size(size)
        width = self.page.evaluate("document.documentElement.scrollWidth")
        if width > size["width"]:
            self.faults.append((self.page.url, size["width"], f"{width} px wide"))
