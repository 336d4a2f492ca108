"""Give out codes that nothing bears yet, and say what is wrong with an entry that is none."""

import random

from django.utils.translation import gettext as _

from nursery.calc.codes import CODE_LENGTH, FLAT, PLACE, SOWING, CodeError, new_code
from nursery.models import Flat, Place, PrintedCode, Sowing

_BEARERS = {FLAT: Flat, SOWING: Sowing, PLACE: Place}
_TOGETHER = 500  # codes in one look-up


def issue_code(kind: str, rng: random.Random | None = None) -> str:
    """Return a code of ``kind`` that is neither borne nor printed ahead.

    ``rng`` is the system's unpredictable one unless given (the demonstration farm gives a seeded one).
    """
    rng = rng or random.SystemRandom()
    bearer = _BEARERS[kind]
    while True:
        code = new_code(kind, rng)
        taken = bearer._default_manager.filter(code=code).exists()
        if not taken and not PrintedCode.objects.filter(code=code).exists():
            return code


def issue_codes(kind: str, count: int) -> list[str]:
    """Return ``count`` different free codes, looked up together."""
    codes: set[str] = set()
    while len(codes) < count:
        fresh = {
            new_code(kind, random.SystemRandom()) for _number in range(min(count - len(codes), _TOGETHER))
        }
        for bearer in (_BEARERS[kind], PrintedCode):
            fresh -= set(bearer._default_manager.filter(code__in=fresh).values_list("code", flat=True))
        codes |= fresh
    return list(codes)


def code_words(error: CodeError) -> str:
    """Say what is wrong with an entry, and what a code looks like."""
    words = {
        "empty": _("Type or scan a code of %(wanted)d characters, such as F3K-7QNX."),
        "length": _("A code has %(wanted)d characters; this has %(length)d."),
        "alphabet": _("A code has only digits and letters other than I, L, O and U; this has %(said)s."),
        "check": _("The last character does not fit the others: one of the %(wanted)d is wrong."),
        "kind": _("A code begins with F for a flat, S for a sowing or P for a place."),
    }
    return words[error.reason] % {"wanted": CODE_LENGTH, "length": len(error.said), "said": error.said}
