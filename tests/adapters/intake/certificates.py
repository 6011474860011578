"""A throw-away authority for tests of TLS."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from ipaddress import IPv4Address
from typing import TYPE_CHECKING

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

if TYPE_CHECKING:
    from pathlib import Path


@dataclass(frozen=True)
class Papers:
    """Paths of a certificate and its key."""

    cert: Path
    key: Path


class Authority:
    """Issues certificates for the loopback address, valid for a day, or expired an hour ago."""

    def __init__(self, folder: Path, name: str) -> None:
        folder.mkdir(parents=True)
        self._folder = folder
        self._key = ec.generate_private_key(ec.SECP256R1())
        self._name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])
        self._cert = self._issue(self._name, self._key, ca=True)
        self.ca_file = folder / "ca.pem"
        self.ca_file.write_bytes(self._cert.public_bytes(serialization.Encoding.PEM))

    def papers(self, name: str, *, expired: bool = False) -> Papers:
        key = ec.generate_private_key(ec.SECP256R1())
        cert = self._issue(x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)]), key, ca=False, expired=expired)
        papers = Papers(self._folder / f"{name}.pem", self._folder / f"{name}.key")
        papers.cert.write_bytes(cert.public_bytes(serialization.Encoding.PEM))
        papers.key.write_bytes(
            key.private_bytes(
                serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
            )
        )
        return papers

    def _issue(
        self, subject: x509.Name, key: ec.EllipticCurvePrivateKey, *, ca: bool, expired: bool = False
    ) -> x509.Certificate:
        now = datetime.now(UTC) - timedelta(days=1, hours=1) * expired
        builder = (
            x509.CertificateBuilder()
            .subject_name(subject)
            .issuer_name(self._name)
            .public_key(key.public_key())
            .serial_number(x509.random_serial_number())
            .not_valid_before(now - timedelta(hours=1))
            .not_valid_after(now + timedelta(days=1))
            .add_extension(x509.BasicConstraints(ca=ca, path_length=None), critical=True)
            .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
            .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(self._key.public_key()), critical=False)
        )
        if ca:
            usage = x509.KeyUsage(
                digital_signature=True,
                content_commitment=False,
                key_encipherment=False,
                data_encipherment=False,
                key_agreement=False,
                key_cert_sign=True,
                crl_sign=True,
                encipher_only=False,
                decipher_only=False,
            )
            builder = builder.add_extension(usage, critical=True)
        else:
            names = x509.SubjectAlternativeName([x509.IPAddress(IPv4Address("127.0.0.1"))])
            builder = builder.add_extension(names, critical=False)
        return builder.sign(self._key, hashes.SHA256())
