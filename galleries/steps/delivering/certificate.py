"""The studio's certificate, by which finals are signed: made here once, or given by an authority.

In the site's home, folder `signing`: each certificate with its chain as `FINGERPRINT.pem` (the earlier ones too, so
that what they signed is still known), the key of the one in force as `FINGERPRINT.key`, sealed with the site's own key
and its owner's alone, and `current`, which names that one. A key that is no more in force is removed.

Profile of the certificates: C2PA Technical Specification 2.4, "Certificate profile" (from memory; the library's own
check is asked before any is taken).
"""

from __future__ import annotations

import os
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path

from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import decode_dss_signature
from cryptography.x509.oid import NameOID
from django.conf import settings
from django.utils.translation import gettext as _

from galleries.errors import BadInput, Conflict
from galleries.imaging.credentials.origin import Origin
from galleries.imaging.credentials.sign import Signer, room
from galleries.imaging.errors import ImagingError
from galleries.models import Studio
from galleries.steps.people import sealing

SEALED_FOR = b"portal: key that finals are signed with"
DAYS = 3650  # without a time stamp of somebody else's a signature holds as long as its certificate
MADE_FOR = ("1.3.6.1.5.5.7.3.4", "1.3.6.1.5.5.7.3.36")  # what readers by default accept, and what it is
NAME_LENGTH = 64  # ub-organization-name and ub-common-name of RFC 5280, appendix A.1
SOON = timedelta(days=30)


@dataclass(frozen=True)
class Certificate:
    """`fingerprint`: SHA-256 of the certificate, hex; `chain` in PEM, its own first; `serial` decimal; `own`: made
    here, so that nobody but this studio vouches for it."""

    fingerprint: str
    chain: str
    name: str
    serial: str
    ends_at: datetime
    own: bool

    @classmethod
    def of(cls, chain: str) -> Certificate:
        parts = x509.load_pem_x509_certificates(chain.encode())
        first, last = parts[0], parts[-1]
        names = first.subject.get_attributes_for_oid(NameOID.ORGANIZATION_NAME)
        return cls(
            fingerprint=first.fingerprint(hashes.SHA256()).hex(),
            chain=chain,
            name=str(names[0].value) if names else "",
            serial=str(first.serial_number),
            ends_at=first.not_valid_after_utc,
            own=last.subject == last.issuer and _is_ours(last),
        )

    @property
    def anchor(self) -> str:
        """The last of the chain, in PEM: what it leads to."""
        last = x509.load_pem_x509_certificates(self.chain.encode())[-1]
        return last.public_bytes(serialization.Encoding.PEM).decode()

    @property
    def ended(self) -> bool:
        return self.ends_at <= datetime.now(UTC)

    @property
    def ends_soon(self) -> bool:
        return self.ends_at <= datetime.now(UTC) + SOON


_OURS = "made by the studio itself"


def _is_ours(certificate: x509.Certificate) -> bool:
    units = certificate.subject.get_attributes_for_oid(NameOID.ORGANIZATIONAL_UNIT_NAME)
    return bool(units) and units[0].value == _OURS


def folder() -> Path:
    return Path(settings.SITE_DIR) / "signing"


def current() -> Certificate | None:
    """The one in force; None before the first."""
    try:
        named = (folder() / "current").read_text().strip()
        return Certificate.of((folder() / f"{named}.pem").read_text())
    except FileNotFoundError:
        return None


def known() -> list[Certificate]:
    """All this studio has ever signed with."""
    return [Certificate.of(path.read_text()) for path in sorted(folder().glob("*.pem"))]


def in_force(*, first: bool = True) -> Certificate:
    """The one in force; made now where there is none, and it may be the `first`.

    Raises:
        Conflict: it has ended, or there is none.
    """
    certificate = current() or (make(first=True) if first else None)
    if certificate is None:
        raise Conflict(
            _("No certificate lies here to sign with: each machine of the site needs the folder “signing” of its home.")
        )
    if certificate.ended:
        raise Conflict(
            _("The certificate that finals are signed with ended on %s. Make or take another, or do not sign.")
            % f"{certificate.ends_at:%Y-%m-%d}"
        )
    return certificate


def make(*, first: bool = False) -> Certificate:
    """A certificate made here, under an authority whose key is thrown away; it is the one in force from now on.

    `first`: unless another process was quicker, whose certificate is then the answer.
    """
    name = Studio.current().name[:NAME_LENGTH]
    authority, key = ec.generate_private_key(ec.SECP256R1()), ec.generate_private_key(ec.SECP256R1())
    above = x509.Name(
        [
            x509.NameAttribute(NameOID.ORGANIZATION_NAME, name),
            x509.NameAttribute(NameOID.ORGANIZATIONAL_UNIT_NAME, _OURS),
        ]
    )
    own = x509.Name(
        [x509.NameAttribute(NameOID.ORGANIZATION_NAME, name), x509.NameAttribute(NameOID.COMMON_NAME, "Finals")]
    )
    root = _certified(above, authority.public_key(), above, authority, authority=True)
    leaf = _certified(own, key.public_key(), above, authority, authority=False)
    chain = "".join(one.public_bytes(serialization.Encoding.PEM).decode() for one in (leaf, root))
    return _into_force(chain, key, first=first)


def _certified(
    subject: x509.Name,
    public: ec.EllipticCurvePublicKey,
    issuer: x509.Name,
    by: ec.EllipticCurvePrivateKey,
    *,
    authority: bool,
) -> x509.Certificate:
    now = datetime.now(UTC).replace(microsecond=0)
    usage = dict.fromkeys(
        (
            *("digital_signature", "content_commitment", "key_encipherment", "data_encipherment", "key_agreement"),
            *("key_cert_sign", "crl_sign", "encipher_only", "decipher_only"),
        ),
        False,
    )
    usage |= {"key_cert_sign": True, "crl_sign": True} if authority else {"digital_signature": True}
    builder = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(public)
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(hours=1))  # a reader's clock may be behind
        .not_valid_after(now + timedelta(days=DAYS))
        .add_extension(x509.BasicConstraints(ca=authority, path_length=0 if authority else None), critical=True)
        .add_extension(x509.KeyUsage(**usage), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(public), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(by.public_key()), critical=False)
    )
    if not authority:
        purposes = x509.ExtendedKeyUsage([x509.ObjectIdentifier(one) for one in MADE_FOR])
        builder = builder.add_extension(purposes, critical=False)
    return builder.sign(by, hashes.SHA256())


def take(chain: bytes, key: bytes) -> Certificate:
    """A certificate given by an authority, with its chain (PEM, its own first) and its key (PEM, not sealed), is the
    one in force from now on.

    Raises:
        BadInput: they cannot be read, do not belong together, or are none that finals can be signed with.
    """
    try:
        parts = x509.load_pem_x509_certificates(chain)
        private = serialization.load_pem_private_key(key, None)
    except (ValueError, TypeError) as error:
        raise BadInput(
            _("The certificate or its key cannot be read: both are PEM, the key without a password.")
        ) from error
    if not isinstance(private, ec.EllipticCurvePrivateKey) or not isinstance(private.curve, ec.SECP256R1):
        raise BadInput(_("The key is not one of the curve P-256, by which finals are signed (ES256)."))
    if parts[0].public_key() != private.public_key():
        raise BadInput(_("The key is not that of the first certificate."))
    try:
        for one, above in pairwise(parts):
            one.verify_directly_issued_by(above)
    except (ValueError, TypeError, InvalidSignature) as error:
        raise BadInput(
            _("The certificates are no chain: each is to be followed by the one it was issued under.")
        ) from error
    if len(parts) < 2:
        raise BadInput(_("The certificate stands alone: its authority's certificate belongs behind it."))
    text = "".join(one.public_bytes(serialization.Encoding.PEM).decode() for one in parts)
    try:  # the library looks at it as every reader will
        room(Origin("0" * 64), "", _signer(Certificate.of(text), private))
    except ImagingError as error:
        raise BadInput(
            _("Finals cannot be signed with this certificate: %s") % error.told.data.get("reason", "")
        ) from error
    return _into_force(text, private)


def signer(certificate: Certificate) -> Signer:
    """
    Raises:
        Conflict: the site's key is another than when this certificate's was sealed, or it is gone.
    """
    try:
        sealed = (folder() / f"{certificate.fingerprint}.key").read_text()
        pem = sealing.unseal(sealed, SEALED_FOR)
    except (FileNotFoundError, sealing.Unsealable) as error:
        raise Conflict(
            _("The key that finals are signed with cannot be opened with this site's key. Make a new certificate.")
        ) from error
    private = serialization.load_pem_private_key(pem.encode(), None)
    if not isinstance(private, ec.EllipticCurvePrivateKey):  # only such are ever kept
        raise TypeError(f"{certificate.fingerprint}.key holds another kind of key")
    return _signer(certificate, private)


def _signer(certificate: Certificate, private: ec.EllipticCurvePrivateKey) -> Signer:
    def signature(data: bytes) -> bytes:
        r, s = decode_dss_signature(private.sign(data, ec.ECDSA(hashes.SHA256())))
        return r.to_bytes(32, "big") + s.to_bytes(32, "big")

    return Signer(certificate.chain, certificate.anchor, signature)


def _into_force(chain: str, key: ec.EllipticCurvePrivateKey, *, first: bool = False) -> Certificate:
    certificate, home = Certificate.of(chain), folder()
    home.mkdir(mode=0o700, exist_ok=True)
    pem = key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    ).decode()
    ours = home / f"{certificate.fingerprint}.key"
    _write(ours, sealing.seal(pem, SEALED_FOR))
    _write(home / f"{certificate.fingerprint}.pem", chain)
    part = home / f".current.{certificate.fingerprint}"
    part.write_text(certificate.fingerprint + "\n")
    if first:
        try:
            os.link(part, home / "current")
        except FileExistsError:
            for mine in (part, ours, home / f"{certificate.fingerprint}.pem"):
                mine.unlink()
            there = current()
            if there is None:  # it names one that is not there
                raise
            return there
        part.unlink()
        return certificate
    part.replace(home / "current")
    for old in home.glob("*.key"):
        if old != ours:
            with suppress(FileNotFoundError):
                old.unlink()
    return certificate


def _write(path: Path, text: str) -> None:
    """Whole or not at all, its owner's alone."""
    part = path.with_name(f".{path.name}.part")
    with open(part, "w", opener=lambda name, flags: os.open(name, flags, 0o600)) as file:
        file.write(text)
    part.replace(path)
