import pytest
from hypothesis import given
from hypothesis import strategies as st

from nursery.calc.waiting import wait_left_s, wait_s


@pytest.mark.parametrize(
    ("wrong", "wait"),
    # 30 s, doubled each time, up to 15 min: worked out by hand
    [(0, 0), (4, 0), (5, 30), (6, 60), (7, 120), (8, 240), (9, 480), (10, 900), (11, 900), (10**9, 900)],
)
def test_the_wait_grows_to_a_quarter_of_an_hour(wrong, wait):
    assert wait_s(wrong) == wait


def test_more_tries_may_be_free():
    assert (wait_s(19, free=20), wait_s(20, free=20)) == (0, 30)


@given(st.integers(0, 1000), st.floats(-1e9, 1e9))
def test_nobody_waits_longer_than_the_wait(wrong, since):
    assert 0 <= wait_left_s(wrong, since_last_s=since) <= wait_s(wrong)


def test_the_wait_goes_by():
    assert wait_left_s(5, since_last_s=10) == 20
    assert wait_left_s(5, since_last_s=31) == 0


@pytest.mark.parametrize(("wrong", "free", "name"), [(-1, 5, "wrong_count"), (0, 0, "free")])
def test_what_is_out_of_range_is_named(wrong, free, name):
    with pytest.raises(ValueError, match=name):
        wait_s(wrong, free=free)
