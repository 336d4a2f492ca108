"""The look: contrast of the colours, and that they, spaces and sizes of type stand in tokens.css alone."""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
CSS = ROOT / "static" / "css"
TEMPLATES = ROOT / "templates"
COMMENT = re.compile(r"/\*.*?\*/", re.S)
DECLARATION = re.compile(r"(?P<name>--[\w-]+|[a-z-]+)\s*:\s*(?P<value>[^;{}]+);")
COLOUR = re.compile(
    r"#[0-9a-f]{3,8}\b|\b(?:rgba?|hsla?|hwb|lab|lch|oklab|oklch|color|color-mix)\("
    r"|(?<![\w-])(?:white|black|gr[ae]y|silver|red|green|blue|yellow|orange|purple|brown|pink"
    r"|canvas|canvastext|highlight|buttonface|linktext|graytext)(?![\w-])",
    re.I,
)
LENGTH = re.compile(r"(?<![\w.-])\d*\.?\d+(?:px|rem|pt|mm|cm)\b")

# Words read on a ground; the pairs that look.md's colours are used in.
TEXT_PAIRS = [
    ("ink", "paper"),
    ("ink", "sheet"),
    ("ink", "soil"),
    ("ink", "leaf-wash"),
    ("ink-soft", "paper"),
    ("ink-soft", "sheet"),
    ("leaf", "sheet"),
    ("leaf", "leaf-wash"),
    ("on-leaf", "leaf"),
    ("on-beet", "beet"),
    ("ochre", "ochre-wash"),
    ("sky", "paper"),
    ("sky", "sheet"),
    ("paper", "ink"),
    ("on-bar", "bar"),
    ("on-bar-soft", "bar"),
    ("bar-mark", "bar"),
]
# Edges that must be found, not read (WCAG 2.2, success criterion 1.4.11: 3:1).
EDGE_PAIRS = [
    ("ink-soft", "paper"),
    ("ink-soft", "sheet"),
    ("wrong", "sheet"),
    ("wrong", "paper"),
    ("ink-soft", "soil"),
]


def sheets() -> list[Path]:
    return sorted(path for path in CSS.glob("*.css") if path.name != "tokens.css")


def text_of(path: Path) -> str:
    return COMMENT.sub("", path.read_text(encoding="utf-8"))


def outermost(text: str) -> list[str]:
    """What stands before each block that is in no other block."""
    found, start, depth = [], 0, 0
    for brace in re.finditer(r"[{}]", text):
        if brace[0] == "{" and depth == 0:
            found.append(text[start : brace.start()].strip())
        depth += 1 if brace[0] == "{" else -1
        start = brace.end()
    return found


def declarations(path: Path) -> list[tuple[str, str]]:
    """Name and value of each declaration. Nothing in the sheets but tokens.css holds a data: address."""
    return [(found["name"], found["value"].strip()) for found in DECLARATION.finditer(text_of(path))]


def tokens(theme: str) -> dict[str, str]:
    """The custom properties of tokens.css as they stand in one theme, without their dashes."""
    text = text_of(CSS / "tokens.css")
    light, rest = text.split("@media (prefers-color-scheme: dark)")
    dark = rest.split("@media")[0]
    found = dict(re.findall(r"--([\w-]+):\s*([^;]+);", light))
    if theme == "dark":
        found |= dict(re.findall(r"--([\w-]+):\s*([^;]+);", dark))
    return found


def hex_of(name: str, known: dict[str, str]) -> str:
    value = known[name]
    reference = re.fullmatch(r"var\(--([\w-]+)\)", value)
    return hex_of(reference[1], known) if reference else value


def luminance(colour: str) -> float:
    """Relative luminance of #rrggbb; source: WCAG 2.2, definition of relative luminance."""
    channels = [int(colour[start : start + 2], 16) / 255 for start in (1, 3, 5)]
    red, green, blue = (
        channel / 12.92 if channel <= 0.04045 else ((channel + 0.055) / 1.055) ** 2.4 for channel in channels
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Contrast ratio; source: WCAG 2.2, definition of contrast ratio."""
    darker, lighter = sorted([luminance(one), luminance(other)])
    return (lighter + 0.05) / (darker + 0.05)


def test_contrast_agrees_with_wcag():
    # WCAG 2.2 gives 21:1 for black on white; 4.54 for #767676 on white is common knowledge, from memory.
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize(("text", "ground"), TEXT_PAIRS)
def test_words_stand_out_in_sunlight(theme, text, ground):
    known = tokens(theme)
    assert contrast(hex_of(text, known), hex_of(ground, known)) >= 7


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize(("edge", "ground"), EDGE_PAIRS)
def test_edges_can_be_found(theme, edge, ground):
    known = tokens(theme)
    assert contrast(hex_of(edge, known), hex_of(ground, known)) >= 3


def test_dark_theme_names_every_colour_of_the_light_one():
    light, dark = tokens("light"), tokens("dark")
    named = {name for name, value in light.items() if value.startswith("#")}
    same = {name for name in named if light[name] == dark[name]}
    # The top bar is dark in both; white stands on beet in both; a label prints black on white.
    assert same == {"on-beet", "on-bar", "on-bar-soft", "bar-mark", "label-paper", "label-ink"}


@pytest.mark.parametrize("path", sheets(), ids=lambda path: path.name)
def test_no_sheet_but_tokens_names_a_colour(path):
    assert [item for item in declarations(path) if COLOUR.search(item[1])] == []


@pytest.mark.parametrize("path", sheets(), ids=lambda path: path.name)
def test_no_sheet_but_tokens_names_a_length(path):
    # A page margin takes no custom property; it is the one exception.
    found = [item for item in declarations(path) if LENGTH.search(item[1])]
    assert found == ([("margin", "15mm")] if path.name == "print.css" else [])


@pytest.mark.parametrize("path", [*sheets(), CSS / "tokens.css"], ids=lambda path: path.name)
def test_every_token_used_is_defined(path):
    used = set(re.findall(r"var\(--([\w-]+)\)", text_of(path)))
    local = {name for sheet in sheets() for name in re.findall(r"--([\w-]+):", text_of(sheet))}
    assert used - set(tokens("light")) - local == set()


def test_no_type_is_smaller_than_16_px():
    sizes = {
        name: value for name, value in tokens("light").items() if re.fullmatch(r"type-(?!code-gap).*", name)
    }
    assert len(sizes) >= 5
    assert all(float(value.removesuffix("rem")) * 16 >= 16 for value in sizes.values())


@pytest.mark.parametrize("path", sheets(), ids=lambda path: path.name)
def test_type_takes_its_size_from_a_token(path):
    sizes = [value for name, value in declarations(path) if name == "font-size"]
    assert [value for value in sizes if not re.fullmatch(r"var\(--type-[\w-]+\)", value)] == []


def test_touch_targets_are_44_px():
    known = tokens("light")
    assert float(known["touch"].removesuffix("rem")) * 16 >= 44
    assert float(known["cell-least"].removesuffix("rem")) * 16 >= 24


@pytest.mark.parametrize("path", sheets(), ids=lambda path: path.name)
def test_every_sheet_stands_in_a_layer_and_in_the_head(path):
    layer = path.stem if path.stem in ("base", "layout", "print") else "components"
    assert outermost(text_of(path)) == [f"@layer {layer}"]
    assert f"css/{path.name}" in (TEMPLATES / "_head.html").read_text(encoding="utf-8")


def test_the_largest_flat_that_can_be_stored_has_its_columns_and_rows():
    text = text_of(CSS / "flat-sizes.css")
    for count in range(1, 41):
        assert f'[data-columns="{count}"] {{ --flat-columns: {count};' in text
    for count in range(1, 27):
        assert f'[data-rows="{count}"] {{ --flat-rows: {count}; }}' in text


def test_theme_colour_of_the_browser_is_the_bar():
    head = (TEMPLATES / "_head.html").read_text(encoding="utf-8")
    for theme in ("light", "dark"):
        colour = tokens(theme)["bar"]
        assert f'<meta name="theme-color" content="{colour}" media="(prefers-color-scheme: {theme})">' in head


@pytest.mark.parametrize("path", sorted(TEMPLATES.rglob("*.html")), ids=lambda path: path.name)
def test_templates_hold_no_inline_script_or_style(path):
    text = path.read_text(encoding="utf-8")
    assert re.findall(r"<style|\sstyle\s*=|\son[a-z]+\s*=\s*[\"']|<script(?![^>]*\ssrc=)", text) == []
