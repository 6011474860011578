"""An authority of the keeper's own, and certificates for the page that it signs."""

from __future__ import annotations

import ipaddress
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Final

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from monitor.core.light import light

if TYPE_CHECKING:
    from collections.abc import Sequence

_AUTHORITY_DAYS: Final = 3650
# Phones refuse certificates that run for more than 825 days, even those of an authority the keeper has added.
_SERVER_DAYS: Final = 820
_EARLIER: Final = timedelta(days=1)  # a phone's clock may be behind


@light
class Pair:
    """A certificate and its key."""

    certificate: x509.Certificate
    key: ec.EllipticCurvePrivateKey

    @property
    def certificate_pem(self) -> bytes:
        return self.certificate.public_bytes(serialization.Encoding.PEM)

    @property
    def key_pem(self) -> bytes:
        return self.key.private_bytes(
            serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
        )

    @property
    def fingerprint(self) -> str:
        """SHA-256 in pairs of digits, as phones show it."""
        return ":".join(f"{byte:02X}" for byte in self.certificate.fingerprint(hashes.SHA256()))


def read_pair(certificate_pem: bytes, key_pem: bytes) -> Pair:
    """Raises ValueError when they are not a certificate and its own elliptic-curve key."""
    certificate = x509.load_pem_x509_certificate(certificate_pem)
    key = serialization.load_pem_private_key(key_pem, None)
    if not isinstance(key, ec.EllipticCurvePrivateKey) or key.public_key() != certificate.public_key():
        raise ValueError("the key does not belong to the certificate")
    return Pair(certificate, key)


def _name(text: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, text[:64])])


def _key_usage(*, authority: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not authority,
        key_cert_sign=authority,
        crl_sign=authority,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        encipher_only=False,
        decipher_only=False,
    )


def make_authority(now: datetime, site: str) -> Pair:
    """An authority that can sign servers only, and no further authority."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = _name(f"swimup authority of {site}")
    certificate = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - _EARLIER)
        .not_valid_after(now + timedelta(days=_AUTHORITY_DAYS))
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_key_usage(authority=True), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )
    return Pair(certificate, key)


def make_server(now: datetime, authority: Pair, names: Sequence[str]) -> Pair:
    """A certificate for host names and addresses; it ends no later than its authority."""
    key = ec.generate_private_key(ec.SECP256R1())
    ends = min(now + timedelta(days=_SERVER_DAYS), authority.certificate.not_valid_after_utc)
    identifier = authority.certificate.extensions.get_extension_for_class(x509.SubjectKeyIdentifier).value
    certificate = (
        x509.CertificateBuilder()
        .subject_name(_name(names[0]))
        .issuer_name(authority.certificate.subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - _EARLIER)
        .not_valid_after(ends)
        .add_extension(x509.SubjectAlternativeName([general_name(name) for name in names]), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_key_usage(authority=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_subject_key_identifier(identifier), critical=False)
        .sign(authority.key, hashes.SHA256())
    )
    return Pair(certificate, key)


def general_name(name: str) -> x509.GeneralName:
    """A host name or an address. Raises ValueError for what is neither."""
    try:
        return x509.IPAddress(ipaddress.ip_address(name.strip("[]")))
    except ValueError:
        pass
    labels = name.removeprefix("*.").split(".")
    if not name.isascii() or len(name) > 253 or not all(_is_label(label) for label in labels):
        raise ValueError(f'"{name}" is neither a host name nor an address')
    return x509.DNSName(name.lower())


def _is_label(label: str) -> bool:
    inner = label.replace("-", "")
    return 0 < len(label) <= 63 and inner.isalnum() and label[0] != "-" and label[-1] != "-"


def utc_now() -> datetime:
    return datetime.now(UTC)
