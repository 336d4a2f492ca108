"""The certificates of a program that runs: looked at again and again, with a clock and names of our own."""

import threading
from datetime import UTC, datetime, timedelta

import pytest

from nursery.actions import https_keeper
from nursery.actions.https_keeper import Certificates, keeping_certificates
from nursery.actions.https_names import Names, parsed_name
from nursery.actions.serving import CannotServe

NOW = datetime(2026, 3, 9, 9, 0, tzinfo=UTC)
HOME = parsed_name("localhost") | parsed_name("127.0.0.1")


@pytest.fixture
def farm(tmp_path):
    """Certificates whose clock and names the test moves: ``farm.now``, ``farm.names``."""
    made = Certificates(tmp_path, names=lambda: made.names, clock=lambda: made.now)
    made.now, made.names = NOW, HOME
    return made


def serials(farm):
    return farm.root.certificate.serial_number, farm.leaf.certificate.serial_number


def test_looks_and_leaves_alone_what_is_good(farm):
    assert farm.look()
    before = serials(farm)
    farm.now += timedelta(days=300)
    assert not farm.look()
    assert serials(farm) == before


def test_over_ten_years_there_is_always_a_good_certificate(farm):
    farm.look()
    root, leaves = farm.root.certificate, set()
    for day in range(0, 3600, 20):
        farm.now = NOW + timedelta(days=day)
        farm.look()
        leaves.add(farm.leaf.certificate.serial_number)
        assert farm.leaf.certificate.not_valid_before_utc <= farm.now
        assert farm.leaf.certificate.not_valid_after_utc - farm.now >= timedelta(days=10)
    assert farm.root.certificate == root
    assert len(leaves) == 10


def test_knows_the_hosts_that_the_certificate_names(farm):
    farm.look()
    assert farm.hosts == {"localhost", "127.0.0.1"}
    farm.names = HOME | parsed_name("192.168.1.44") | parsed_name("fd00::0007")
    assert farm.look()
    assert farm.hosts == {"localhost", "127.0.0.1", "192.168.1.44", "fd00::7"}
    assert farm.left_out == []


def test_says_what_the_root_may_not_speak_for(farm):
    farm.look()
    farm.names = HOME | parsed_name("203.0.113.9")
    assert not farm.look()
    assert farm.left_out == ["203.0.113.9"]


def test_a_name_given_by_hand_too_late_is_refused_with_the_remedy(farm):
    farm.look()
    farm.require(parsed_name("new.local"))
    farm.names = HOME | parsed_name("farm.example")
    with pytest.raises(CannotServe, match=r"farm\.example.*--https-new-root"):
        farm.require(parsed_name("farm.example"))
    root = farm.root.certificate
    farm.look(new_root=True)
    farm.require(parsed_name("farm.example"))
    assert farm.root.certificate != root


@pytest.fixture
def often(monkeypatch):
    monkeypatch.setattr(https_keeper, "LOOK_EVERY_SECONDS", 0.01)


def test_a_program_that_runs_gets_the_new_one(farm, often):
    farm.look()
    called = threading.Event()
    with keeping_certificates(farm, called.set):
        assert not called.wait(0.2)
        farm.names = HOME | parsed_name("192.168.1.44")
        assert called.wait(5)
    assert "192.168.1.44" in farm.hosts


def test_a_folder_that_cannot_be_read_is_said_once_and_mended_later(farm, often, capfd):
    farm.look()
    called, seen = threading.Event(), threading.Event()

    def names():
        seen.set()
        return Names(frozenset({"localhost", "new.local"}), frozenset())

    root = (farm.folder / "root.pem").read_bytes()
    (farm.folder / "root.pem").write_bytes(b"")
    farm._names = names
    with keeping_certificates(farm, called.set):
        assert seen.wait(5)
        assert not called.wait(0.2)
        (farm.folder / "root.pem").write_bytes(root)
        assert called.wait(5)
    assert capfd.readouterr().err.count("could not be looked after") == 1
