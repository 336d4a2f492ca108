"""Draw the icons of the installed program from ``static/icon.svg``: ``python -m tests.browser.draw_icons``.

A maskable icon fills its square; what matters stands within a circle of 40 % of its width, whatever shape a
launcher cuts out (W3C, Web Application Manifest, "Icon masks and safe zone").
"""

import io
import re
import shutil
from pathlib import Path

from PIL import Image
from playwright.sync_api import sync_playwright

STATIC = Path(__file__).resolve().parent.parent.parent / "static"
ICONS = {"icon-192.png": (192, False), "icon-512.png": (512, False), "icon-maskable-512.png": (512, True)}
WITHIN_THE_MASK = 'transform="translate(32 32) scale(.74) translate(-32 -33)"'


def svg(is_maskable: bool) -> str:
    """Return the drawing, for a mask with its ground to the edges and the rest drawn in."""
    text = (STATIC / "icon.svg").read_text(encoding="utf-8")
    if not is_maskable:
        return text
    ground = re.search(r"<rect [^>]*/>", text)[0]
    full = re.sub(r' rx="\d+"', "", ground)
    return text.replace(ground, f"{full}<g {WITHIN_THE_MASK}>").replace("</svg>", "</g></svg>")


def main() -> None:
    found = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=found, args=["--no-sandbox"])
        for name, (size, is_maskable) in ICONS.items():
            page = browser.new_page(viewport={"width": size, "height": size})
            page.set_content(f"<style>body{{margin:0}}svg{{display:block}}</style>{svg(is_maskable)}")
            drawn = Image.open(io.BytesIO(page.screenshot(omit_background=True)))
            drawn.quantize(64, method=Image.Quantize.FASTOCTREE).save(STATIC / name, optimize=True)
        browser.close()


if __name__ == "__main__":
    main()
