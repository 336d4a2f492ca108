"""What this machine is called, and what may be typed as a further name."""

import socket
from ipaddress import ip_address

import ifaddr
import pytest

from nursery.actions.https_names import limits_for, machine_names, parsed_name
from nursery.actions.serving import CannotServe


@pytest.fixture
def machine(monkeypatch):
    """A machine of a given name with given addresses."""

    def called(name, *addresses):
        cards = [
            ifaddr.Adapter("card", "card", [ifaddr.IP(a if "." in a else (a, 0, 2), 24, "card")])
            for a in addresses
        ]
        monkeypatch.setattr(socket, "gethostname", lambda: name)
        monkeypatch.setattr(ifaddr, "get_adapters", lambda: cards)

    return called


def test_knows_the_machine_by_its_names_and_addresses(machine):
    machine("Bench-7", "192.168.1.20", "10.8.0.2", "fd12::7")
    names = machine_names(host="0.0.0.0")
    assert names.domains == {"bench-7", "bench-7.local", "localhost"}
    expected = ["127.0.0.1", "::1", "192.168.1.20", "10.8.0.2", "fd12::7"]
    assert names.addresses == {ip_address(text) for text in expected}


def test_leaves_out_addresses_nobody_can_type_or_that_change_every_day(machine):
    machine("bench", "fe80::1%eth0", "169.254.3.4", "2001:4860:4860::8888")
    assert {str(address) for address in machine_names(host="::").addresses} == {"127.0.0.1", "::1"}


@pytest.mark.parametrize("name", ["büro nr. 3", "", "-", "a" * 70])
def test_a_machine_name_that_no_certificate_takes_is_left_out(machine, name):
    machine(name)
    assert machine_names(host="0.0.0.0").domains <= {"localhost", f"{name}.local"}
    assert "localhost" in machine_names(host="0.0.0.0").domains


def test_adds_what_is_given_by_hand_and_the_address_listened_on(machine):
    machine("bench")
    names = machine_names(host="192.168.5.5", extra=["Farm.Example.", "10.0.0.9"])
    assert "farm.example" in names.domains
    assert {ip_address("192.168.5.5"), ip_address("10.0.0.9")} <= names.addresses


@pytest.mark.parametrize(
    "text", ["https://farm", "farm:8443", "*.farm", "", "a b", "192.168.1", "1.2.3.4.5", "-x", "a..b"]
)
def test_what_is_neither_name_nor_address_is_refused_in_words(text):
    with pytest.raises(CannotServe, match="--https-name"):
        parsed_name(text)


def test_a_name_of_other_letters_is_written_as_browsers_send_it():
    assert parsed_name("bücher.lan").domains == {"xn--bcher-kva.lan"}


def test_a_limit_holds_for_what_lies_below_and_not_for_what_ends_alike():
    limits = limits_for(parsed_name("farm.example"))
    for name, is_in in {"farm.example": 1, "a.farm.example": 1, "myfarm.example": 0, "example": 0}.items():
        assert bool(limits.allowed(parsed_name(name))) == bool(is_in)
