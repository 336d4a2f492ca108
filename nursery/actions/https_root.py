"""The farm's own certificate authority: a root that tablets trust, and the machine's certificate it signs.

Both lie in ``https`` in the data folder, each with its key in one file that only its owner may read, so that
a certificate and its key are replaced at once or not at all. ``root.crt`` is the root without its key, as it
is handed out. None of it goes into a copy of the book.

What tablets ask of a certificate (Apple, support.apple.com/en-my/103769): names in the subject alternative
name, server authentication, SHA-2, and at most 825 days from beginning to end. The root's limits are its name
constraints (RFC 5280, 4.2.1.10): critical, so that a browser that cannot keep to them refuses the root.
"""

import os
import tempfile
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    load_pem_private_key,
)
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from nursery.actions.https_names import Limits, Names, limits_for
from nursery.actions.serving import CannotServe

ROOT_DAYS = 3652
LEAF_DAYS = 397
RENEW_DAYS = 30
# A tablet's clock may be a little behind.
_BEFORE = timedelta(days=1)
_LONGEST_COMMON_NAME = 64  # RFC 5280, appendix A.1: ub-common-name
ROOT_FILE, LEAF_FILE, PUBLIC_FILE = "root.pem", "leaf.pem", "root.crt"


@dataclass(frozen=True)
class Pair:
    """A certificate with its key."""

    certificate: x509.Certificate
    key: ec.EllipticCurvePrivateKey

    def as_pem(self) -> bytes:
        key = self.key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
        return key + self.certificate.public_bytes(Encoding.PEM)


def https_folder(data: Path) -> Path:
    return data / "https"


def ensure_root(folder: Path, *, names: Names, now: datetime, anew: bool = False) -> Pair:
    """Return the farm's root, made if there is none or ``anew``; CannotServe if the one there is useless."""
    folder.mkdir(mode=0o700, exist_ok=True)
    path = folder / ROOT_FILE
    root = None if anew or not path.exists() else _read(path)
    if root is None and path.exists() and not anew:
        raise CannotServe(f"{path} is damaged. " + _WAYS_OUT)
    if root is not None and root.certificate.not_valid_after_utc <= now + timedelta(days=RENEW_DAYS):
        raise CannotServe(f"The farm's root certificate in {path} comes to its end. " + _WAYS_OUT)
    if root is None:
        root = make_root(names, now=now)
        _write(path, root.as_pem())
    _write(folder / PUBLIC_FILE, root.certificate.public_bytes(Encoding.DER))
    return root


_WAYS_OUT = (
    "With --https-new-root another one is made, and every tablet has to trust it anew; "
    "without --https the program runs as before."
)


def ensure_leaf(folder: Path, root: Pair, *, names: Names, now: datetime) -> tuple[Pair, bool]:
    """Return the machine's certificate and whether it was made now.

    It is made anew where it is missing or damaged, not of this root, near its end, or lacks a name; a name
    that the machine no longer has does no harm. Names beyond the root's limits are left out: with one of them
    in it a browser refuses the whole certificate.
    """
    path = folder / LEAF_FILE
    wanted = limits_of(root).allowed(names)
    leaf = _read(path) if path.exists() else None
    if leaf and _is_of(leaf, root) and _is_good_on(leaf, now) and not wanted - names_of(leaf):
        return leaf, False
    leaf = make_leaf(root, wanted, now=now)
    _write(path, leaf.as_pem())
    return leaf, True


def make_root(names: Names, *, now: datetime) -> Pair:
    """Make a root that may speak for private addresses and domains and these names."""
    key = ec.generate_private_key(ec.SECP256R1())
    limits = limits_for(names)
    subject = _subject(f"Takebook on {_machine(names)}, {now:%d %b %Y}")
    usage = x509.KeyUsage(
        digital_signature=False, content_commitment=False, key_encipherment=False, data_encipherment=False,
        key_agreement=False, key_cert_sign=True, crl_sign=True, encipher_only=False, decipher_only=False,
    )  # fmt: skip
    builder = (
        _builder(subject, key, now - _BEFORE)
        .issuer_name(subject)
        .not_valid_after(now + timedelta(days=ROOT_DAYS))
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(usage, critical=True)
        .add_extension(_constraints(limits), critical=True)
    )
    return Pair(builder.sign(key, hashes.SHA256()), key)


def make_leaf(root: Pair, names: Names, *, now: datetime) -> Pair:
    """Make the certificate of the machine for these names, signed by the root."""
    key = ec.generate_private_key(ec.SECP256R1())
    begins = max(now - _BEFORE, root.certificate.not_valid_before_utc)
    ends = min(begins + timedelta(days=LEAF_DAYS), root.certificate.not_valid_after_utc)
    usage = x509.KeyUsage(
        digital_signature=True, content_commitment=False, key_encipherment=False, data_encipherment=False,
        key_agreement=False, key_cert_sign=False, crl_sign=False, encipher_only=False, decipher_only=False,
    )  # fmt: skip
    identifier = root.certificate.extensions.get_extension_for_class(x509.SubjectKeyIdentifier).value
    builder = (
        _builder(_subject(_machine(names)), key, begins)
        .issuer_name(root.certificate.subject)
        .not_valid_after(ends)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(usage, critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(_alternative_names(names), critical=False)
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_subject_key_identifier(identifier), critical=False
        )
    )
    return Pair(builder.sign(root.key, hashes.SHA256()), key)


def limits_of(root: Pair) -> Limits:
    """Return what a root may speak for, as it says itself."""
    constraints = root.certificate.extensions.get_extension_for_class(x509.NameConstraints).value
    permitted = constraints.permitted_subtrees or []
    domains = frozenset(one.value for one in permitted if isinstance(one, x509.DNSName))
    networks = frozenset(one.value for one in permitted if isinstance(one, x509.IPAddress))
    return Limits(domains, networks)  # type: ignore[arg-type]


def names_of(leaf: Pair) -> Names:
    """Return the names that a certificate is good for."""
    value = leaf.certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    addresses = frozenset(value.get_values_for_type(x509.IPAddress))
    return Names(frozenset(value.get_values_for_type(x509.DNSName)), addresses)  # type: ignore[arg-type]


def _builder(
    subject: x509.Name, key: ec.EllipticCurvePrivateKey, begins: datetime
) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(begins)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
    )


def _subject(text: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, text[:_LONGEST_COMMON_NAME])])


def _machine(names: Names) -> str:
    """Return what people know the machine by: its own name, else whatever there is."""
    own = [name.removesuffix(".local") for name in sorted(names.domains) if name.endswith(".local")]
    return next(filter(lambda name: name != "localhost", own), "localhost")


def _constraints(limits: Limits) -> x509.NameConstraints:
    domains = [x509.DNSName(name) for name in sorted(limits.domains)]
    networks = [x509.IPAddress(one) for one in sorted(limits.networks, key=str)]
    return x509.NameConstraints(permitted_subtrees=[*domains, *networks], excluded_subtrees=None)


def _alternative_names(names: Names) -> x509.SubjectAlternativeName:
    domains = [x509.DNSName(name) for name in sorted(names.domains)]
    return x509.SubjectAlternativeName(
        [*domains, *(x509.IPAddress(one) for one in sorted(names.addresses, key=str))]
    )


def _is_of(leaf: Pair, root: Pair) -> bool:
    try:
        leaf.certificate.verify_directly_issued_by(root.certificate)
    except (ValueError, TypeError, InvalidSignature):
        return False
    return True


def _is_good_on(leaf: Pair, now: datetime) -> bool:
    certificate = leaf.certificate
    begins, ends = certificate.not_valid_before_utc, certificate.not_valid_after_utc
    return begins <= now < ends - timedelta(days=RENEW_DAYS)


def _read(path: Path) -> Pair | None:
    """Return a certificate and its key from one file, or None where they are damaged or no pair."""
    try:
        text = path.read_bytes()
        certificate, key = x509.load_pem_x509_certificate(text), load_pem_private_key(text, None)
        if not isinstance(key, ec.EllipticCurvePrivateKey) or key.public_key() != certificate.public_key():
            return None
        pair = Pair(certificate, key)
        _ = limits_of(pair) if path.name == ROOT_FILE else names_of(pair)
    except (ValueError, TypeError, x509.ExtensionNotFound):
        return None
    return pair


def _write(path: Path, content: bytes) -> None:
    """Put a file, readable by its owner only, in place of the one there: whole, or not at all."""
    handle, name = tempfile.mkstemp(prefix=f".{path.name}-", dir=path.parent)  # mode 0600
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        os.replace(name, path)
    except BaseException:
        os.unlink(name)
        raise
