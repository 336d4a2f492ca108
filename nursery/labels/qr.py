"""The QR symbol of an address, as rows of modules and as runs of dark ones.

An address of capitals, digits and ``$%*+-./:`` and space goes in as alphanumeric text, 5.5 bits a
character; any other address as bytes, 8 bits a character (ISO/IEC 18004). The mask is the one with the
lowest penalty (``qr_mask``); even so the symbol takes half of the time a label needs, so symbols are
remembered.
"""

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from nursery.labels.qr_mask import masked_modules

QUIET_MODULES = 4  # ISO/IEC 18004
ALPHANUMERIC = frozenset("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:")

Level = Literal["M", "Q"]


@dataclass(frozen=True)
class Symbol:
    """A QR symbol without its quiet zone: rows of 0 and 1, one per line, and its side in modules."""

    rows: str
    side: int

    @property
    def full_side(self) -> int:
        """Side in modules with the quiet zone on both edges."""
        return self.side + 2 * QUIET_MODULES

    def runs(self) -> list[tuple[int, int, int]]:
        """Dark modules merged along each row: (column, row, length) in modules."""
        width = self.side + 1  # each row ends with a line feed
        return [
            (match.start() % width, match.start() // width, len(match[0]))
            for match in re.finditer("1+", self.rows)
        ]


@lru_cache(maxsize=4096)
def symbol(address: str, level: Level) -> Symbol:
    """Return the smallest symbol that holds the address at error level M (15 %) or Q (25 %).

    Raises ValueError if the address is empty or longer than any symbol holds.
    """
    from qrcode import QRCode, constants
    from qrcode.exceptions import DataOverflowError
    from qrcode.util import MODE_8BIT_BYTE, MODE_ALPHA_NUM, QRData, create_data

    if not address:
        raise ValueError("address must not be empty")
    mode = MODE_ALPHA_NUM if ALPHANUMERIC.issuperset(address) else MODE_8BIT_BYTE
    correction = {"M": constants.ERROR_CORRECT_M, "Q": constants.ERROR_CORRECT_Q}[level]
    code = QRCode(error_correction=correction)
    code.add_data(QRData(address.encode(), mode=mode), optimize=0)
    try:
        version = code.best_fit()
        words = create_data(version, correction, code.data_list)
    except (DataOverflowError, ValueError) as error:
        raise ValueError(f"address is too long for a QR symbol: {len(address)} characters") from error
    modules, side = masked_modules(words, version=version, correction=correction)
    rows = "\n".join(modules[start : start + side] for start in range(0, side * side, side))
    return Symbol(rows, side)
