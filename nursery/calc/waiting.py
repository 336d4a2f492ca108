"""How long to wait after wrong passwords.

A few slips are free. After the fifth wrong try in a row thirty seconds go by before the next one is looked
at, then a minute, two, four, eight, and fifteen minutes at most: with them a guesser has about 100 tries a
day, and nobody is shut out for longer than a break. After a day without a wrong try all is forgotten.

Example: wrong tries number 5, 6 and 7 are followed by waits of 30, 60 and 120 seconds.

Source: growing waits per name are common practice (OWASP Authentication Cheat Sheet, "Login Throttling", from
memory); the numbers are ours.
"""

FREE_TRIES = 5
FIRST_WAIT_S = 30
LONGEST_WAIT_S = 15 * 60
FORGOTTEN_AFTER_S = 24 * 60 * 60


def wait_s(wrong_count: int, *, free: int = FREE_TRIES) -> int:
    """Return the wait in seconds that follows the last of so many wrong tries.

    Parameters
    ----------
    wrong_count : int
        Wrong tries in a row; at least 0.
    free : int
        The try that is the first to be followed by a wait; at least 1.

    Raises
    ------
    ValueError
        If an argument is outside its stated range.
    """
    if wrong_count < 0:
        raise ValueError(f"wrong_count must be at least 0, got {wrong_count}")
    if free < 1:
        raise ValueError(f"free must be at least 1, got {free}")
    if wrong_count < free:
        return 0
    doublings = min(wrong_count - free, LONGEST_WAIT_S.bit_length())
    return min(FIRST_WAIT_S << doublings, LONGEST_WAIT_S)


def wait_left_s(wrong_count: int, *, since_last_s: float, free: int = FREE_TRIES) -> float:
    """Return how many seconds of the wait are left; a clock that was put back prolongs none.

    Parameters
    ----------
    since_last_s : float
        Seconds since the last wrong try.
    """
    wait = wait_s(wrong_count, free=free)
    return min(wait, max(0.0, wait - since_last_s))
