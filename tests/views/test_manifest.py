"""The program as one that can be installed: its manifest and its icons."""

import re
from pathlib import Path

import pytest
from django.conf import settings
from django.template.loader import get_template
from django.urls import reverse
from PIL import Image

STATIC = Path(settings.BASE_DIR) / "static"
SAFE = 0.4  # of the width, about the middle: W3C Web Application Manifest, "Icon masks and safe zone"


@pytest.fixture
def manifest(stranger):
    answer = stranger.get(reverse("manifest"))
    assert answer.status_code == 200
    assert answer.headers["Content-Type"] == "application/manifest+json"
    return answer.json()


def test_opens_full_screen_at_the_start_page_and_holds_the_whole_program(manifest):
    assert manifest["name"] == "Takebook"
    assert (manifest["display"], manifest["start_url"], manifest["scope"]) == ("standalone", "/", "/")


def test_every_page_names_it():
    assert f'<link rel="manifest" href="{reverse("manifest")}">' in get_template("_head.html").template.source


def test_colours_are_those_of_the_look(manifest):
    light = (STATIC / "css/tokens.css").read_text(encoding="utf-8").split("@media")[0]
    known = dict(re.findall(r"--([\w-]+):\s*([^;]+);", light))
    assert (manifest["background_color"], manifest["theme_color"]) == (known["paper"], known["bar"])


def test_icons_are_as_large_as_they_say(manifest):
    said = {(icon["sizes"], icon["purpose"]): icon["src"] for icon in manifest["icons"]}
    assert set(said) == {("192x192", "any"), ("512x512", "any"), ("512x512", "maskable")}
    for (sizes, _purpose), address in said.items():
        with Image.open(STATIC / address.removeprefix("/static/")) as icon:
            assert (f"{icon.width}x{icon.height}", icon.format) == (sizes, "PNG")


def test_a_mask_cuts_nothing_off():
    with Image.open(STATIC / "icon-maskable-512.png") as icon:
        drawn = icon.convert("RGBA")
    ground = drawn.getpixel((0, 0))
    assert ground == (28, 36, 32, 255)  # --bar, to the very corner
    middle, reach = drawn.width / 2, SAFE * drawn.width
    outside = [
        (x, y)
        for x in range(0, drawn.width, 2)
        for y in range(0, drawn.height, 2)
        if drawn.getpixel((x, y)) != ground and (x - middle) ** 2 + (y - middle) ** 2 > reach**2
    ]
    assert outside == []


def test_nothing_is_stored_there(stranger):
    assert stranger.post(reverse("manifest")).status_code == 405


def test_all_icons_together_are_small():
    sizes = [file.stat().st_size for file in (*STATIC.glob("icon-*.png"), STATIC / "icon.svg")]
    assert len(sizes) == 5
    assert sum(sizes) < 20_000
