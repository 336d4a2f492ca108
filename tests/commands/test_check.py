"""``check --deploy`` behind a proxy that speaks HTTPS."""

import pytest

from tests.commands.copying import manage

pytestmark = pytest.mark.sqlite


def test_behind_https_nothing_is_left_to_harden(tmp_path):
    extra = {"TAKEBOOK_HTTPS": "1", "TAKEBOOK_DATA": str(tmp_path)}
    ended = manage("check", "--deploy", "--fail-level", "WARNING", **extra)
    assert ended.returncode == 0, ended.stderr
    assert "no issues (0 silenced)" in ended.stdout


def test_without_https_it_says_what_is_missing(tmp_path):
    ended = manage("check", "--deploy", "--fail-level", "WARNING", TAKEBOOK_DATA=str(tmp_path))
    assert ended.returncode == 1
    assert "SECURE_SSL_REDIRECT" in ended.stderr


@pytest.mark.parametrize("wrong", ["half past two", "25:00", "2.30"])
def test_a_time_for_the_copies_that_is_none_is_refused(tmp_path, wrong):
    ended = manage("check", TAKEBOOK_COPIES_AT=wrong, TAKEBOOK_DATA=str(tmp_path))
    assert ended.returncode == 1
    assert "TAKEBOOK_COPIES_AT must be a time of day" in ended.stderr
