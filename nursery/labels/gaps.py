"""What of a label would not print."""

from dataclasses import dataclass, fields

from nursery.labels.content import Label
from nursery.labels.pdf import font_metrics
from nursery.labels.scripts import SCRIPTS, missing

ALWAYS_PRINT = ("code", "address")


@dataclass(frozen=True)
class Gap:
    """A text of a label in which ``characters`` do not print: a line to write on stands in their place."""

    code: str
    text: str
    characters: str


def gaps_of(label: Label) -> list[Gap]:
    """Return the texts of a label that do not print whole, in the order of its fields."""
    texts = [getattr(label, field.name) or "" for field in fields(label) if field.name not in ALWAYS_PRINT]
    has = font_metrics().has
    found = [(text, missing(text, has)) for text in texts if not text.isascii()]
    return [Gap(label.code, text, lost) for text, lost in found if lost]


def scripts_that_print() -> list[tuple[str, str, str]]:
    """Return each script's name, its sample, and the characters of the sample that do not print."""
    has = font_metrics().has
    return [(script.name, script.sample, missing(script.sample, has)) for script in SCRIPTS]
