"""Give out codes that nothing bears yet."""

import random

from nursery.calc.codes import new_code
from nursery.models import Flat, Place, PrintedCode, Sowing

FLAT, SOWING, PLACE = "F", "S", "P"
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
        fresh = {new_code(kind, random.SystemRandom()) for _ in range(min(count - len(codes), _TOGETHER))}
        for bearer in (_BEARERS[kind], PrintedCode):
            fresh -= set(bearer._default_manager.filter(code__in=fresh).values_list("code", flat=True))
        codes |= fresh
    return list(codes)
