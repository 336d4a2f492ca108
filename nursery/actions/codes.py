"""Give out codes that nothing bears yet."""

import random

from nursery.calc.codes import new_code
from nursery.models import Flat, Place, PrintedCode, Sowing

FLAT, SOWING, PLACE = "F", "S", "P"
_BEARERS = {FLAT: Flat, SOWING: Sowing, PLACE: Place}


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
