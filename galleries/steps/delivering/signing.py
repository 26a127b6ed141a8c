"""Finals signed with where they come from, and read back before they are handed over."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from galleries.imaging.codes import Code
from galleries.imaging.contained import door
from galleries.imaging.credentials import sign as credentials
from galleries.imaging.credentials.origin import Origin
from galleries.imaging.errors import BadCredentials
from galleries.imaging.framing.sizes import SizeSpec
from galleries.models import Studio
from galleries.steps.delivering import certificate
from galleries.steps.delivering.certificate import Certificate
from galleries.steps.delivering.file_order import FileOrder

if TYPE_CHECKING:
    from galleries.imaging.credentials.reading import CredentialsRead

_ANY = "0" * 64  # a frame or version in place of each


def wanted() -> str:
    """The fingerprint of the certificate that a delivery asked for now is signed with; '' where finals are not signed.

    Raises:
        Conflict: they are to be, and cannot.
    """
    return certificate.in_force().fingerprint if Studio.current().sign_finals else ""


def origin_of(order: FileOrder, spec: SizeSpec) -> Origin:
    """What the order says of how its file comes about."""
    retouched = order.source != order.frame
    out = (order.crop.width, order.crop.height) if spec.full_frame else (spec.out_width, spec.out_height)
    return Origin(
        frame=order.frame,
        version=order.source if retouched else "",
        source_type=order.said.digital_source_type if retouched else "",
        cropped=not spec.full_frame,
        resized=out != (order.crop.width, order.crop.height),
        straightened=bool(order.tilt),
        monochrome=order.monochrome,
        bordered=bool(spec.border),
        lettered=bool(order.strip),
    )


def reading(source: bytes | Path) -> tuple[CredentialsRead | None, Certificate | None]:
    """What a file's credentials say, whoever's it is, and the certificate where it is one of this studio's.

    Raises:
        Unreadable: the file cannot be opened, or reading it took too long.
    """
    certificates = certificate.known()
    told = door.read_credentials(source, "".join(sorted({one.anchor for one in certificates})))
    if told is None or not told.known:
        return told, None
    # Under the anchor of an authority stand other people's certificates too.
    return told, next((one for one in certificates if one.serial == told.serial), None)


@dataclass(frozen=True)
class Pen:
    """The certificate in force and its signer, opened once for all files of a delivery."""

    certificate: Certificate
    signer: credentials.Signer
    rooms: dict[Origin, int] = field(default_factory=dict, compare=False)

    @classmethod
    def taken(cls) -> Pen:
        """
        Raises:
            Conflict: the certificate has ended, its key cannot be opened, or there is none on this machine. One was
                there when the delivery was asked for: a second, made here, would not be the studio's.
        """
        one = certificate.in_force(first=False)
        return cls(one, certificate.signer(one))

    def room(self, order: FileOrder, spec: SizeSpec) -> int:
        """Bytes to keep free for the credentials under the size's cap: as many for all files that say the same,
        whatever frame they are of, for digests are of one length. To measure it is to sign, 2.3 ms of CPU."""
        origin = origin_of(order, spec)
        alike = replace(origin, frame=_ANY, version=_ANY if origin.version else "")
        if alike not in self.rooms:
            self.rooms[alike] = credentials.room(alike, "", self.signer)
        return self.rooms[alike]

    def sign(self, data: bytes, order: FileOrder, spec: SizeSpec) -> bytes:
        """The file signed. Raises `BadCredentials`, also when it does not read back as it was written."""
        origin = origin_of(order, spec)
        signed = credentials.sign(data, origin, order.recipe, self.signer)
        told = door.read_credentials(signed, self.signer.anchors)
        from_ = {one.relationship: one.sha256 for one in told.ingredients} if told else {}
        wanted_from = {"parentOf": origin.frame, **({"inputTo": origin.version} if origin.version else {})}
        well = (
            told is not None
            and told.known
            and not (told.changed or told.ended or told.faults)
            and told.serial == self.certificate.serial
            and from_ == wanted_from
            and [one.source for one in told.actions if one.name == "c2pa.edited"]
            == [origin.source_type][: bool(origin.source_type)]
        )
        if not well:
            raise BadCredentials(Code.CREDENTIALS_NOT_AS_WRITTEN)
        return signed
