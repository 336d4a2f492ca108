"""The names and addresses by which this machine is reached, and those that the farm's root may speak for.

The root is limited to what belongs to nobody outside the farm (the addresses and domains kept for private
networks) and to what this machine was called when the root was made. So the router may give the machine
another private address, and the root that the tablets trust stays good.
"""

import ipaddress
import re
import socket
from collections.abc import Iterable
from dataclasses import dataclass
from ipaddress import IPv4Address, IPv6Address
from typing import Self

import ifaddr

from nursery.actions.serving import CannotServe

Address = IPv4Address | IPv6Address
Network = ipaddress.IPv4Network | ipaddress.IPv6Network

# Private (RFC 1918, RFC 4193), of a provider's inner network (RFC 6598), this machine and this cable.
PRIVATE_NETWORKS: tuple[Network, ...] = tuple(
    ipaddress.ip_network(text)
    for text in (
        "10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16", "100.64.0.0/10", "127.0.0.0/8",
        "fc00::/7", "fe80::/10", "::1/128",
    )
)  # fmt: skip
# RFC 6761, RFC 6762, RFC 8375, and ICANN's resolution of 2024 on .internal. ".lan" is what many routers say;
# it was never given to anybody (from memory).
PRIVATE_DOMAINS = ("localhost", "local", "home.arpa", "internal", "lan")
_HERE = (ipaddress.ip_address("127.0.0.1"), ipaddress.ip_address("::1"))
_NAME = re.compile(
    r"(?=.{1,253}\Z)[a-z0-9_]([a-z0-9_-]{0,61}[a-z0-9_])?(\.[a-z0-9_]([a-z0-9_-]{0,61}[a-z0-9_])?)*\Z"
)


@dataclass(frozen=True)
class Names:
    """What a browser may write between ``https://`` and the port."""

    domains: frozenset[str]
    addresses: frozenset[Address]

    def __or__(self, other: Self) -> Self:
        return type(self)(self.domains | other.domains, self.addresses | other.addresses)

    def __sub__(self, other: Self) -> Self:
        return type(self)(self.domains - other.domains, self.addresses - other.addresses)

    def __bool__(self) -> bool:
        return bool(self.domains or self.addresses)

    def as_text(self) -> list[str]:
        """Return all of them as they are written, names first."""
        return [*sorted(self.domains), *map(str, sorted(self.addresses, key=lambda a: (a.version, int(a))))]


@dataclass(frozen=True)
class Limits:
    """What a root may speak for: these domains with all below them, and the addresses of these networks."""

    domains: frozenset[str]
    networks: frozenset[Network]

    def allowed(self, names: Names) -> Names:
        """Return those of the names that lie within the limits."""
        domains = {name for name in names.domains if any(_is_below(name, own) for own in self.domains)}
        addresses = {one for one in names.addresses if any(one in network for network in self.networks)}
        return Names(frozenset(domains), frozenset(addresses))


def limits_for(names: Names) -> Limits:
    """Return the limits of a new root: all that is private, and these names."""
    private = Limits(frozenset(PRIVATE_DOMAINS), frozenset(PRIVATE_NETWORKS))
    beyond = names - private.allowed(names)
    own = frozenset(ipaddress.ip_network(address) for address in beyond.addresses)
    return Limits(private.domains | beyond.domains, private.networks | own)


def machine_names(*, host: str, extra: Iterable[str] = ()) -> Names:
    """Return what this machine is called now, with the address it listens on and names given by hand."""
    hostname = socket.gethostname().lower().rstrip(".")
    own = [hostname, f"{hostname.split('.')[0]}.local", "localhost"]
    names = Names(frozenset(filter(_NAME.match, own)), frozenset({*_HERE, *_network_addresses()}))
    for text in [host, *extra]:
        names |= parsed_name(text)
    return names


def parsed_name(text: str) -> Names:
    """Return a name or an address typed by hand; CannotServe if it is neither."""
    try:
        address = ipaddress.ip_address(text.strip("[]"))
    except ValueError:
        return Names(frozenset({_domain(text)}), frozenset())
    return Names(frozenset(), frozenset() if address.is_unspecified else frozenset({address}))


def _domain(text: str) -> str:
    try:
        name = text.rstrip(".").encode("idna").decode().lower()
    except UnicodeError:
        name = ""
    if not _NAME.match(name) or re.fullmatch(r"[\d.]+", name):
        raise CannotServe(
            f"--https-name {text}: write a name or an address alone, as farm-laptop.lan or 192.168.1.20, "
            "without https:// and port."
        )
    return name


def _network_addresses() -> set[Address]:
    """Return the addresses of the network cards.

    Left out: link-local ones, which browsers cannot be sent to, and IPv6 addresses of the internet, which
    most systems change every day.
    """
    found: set[Address] = set()
    for adapter in ifaddr.get_adapters():
        for entry in adapter.ips:
            text = entry.ip if isinstance(entry.ip, str) else entry.ip[0]
            address = ipaddress.ip_address(text.split("%")[0])
            if not address.is_link_local and (address.version == 4 or address.is_private):
                found.add(address)
    return found


def _is_below(name: str, domain: str) -> bool:
    return name == domain or name.endswith(f".{domain}")
