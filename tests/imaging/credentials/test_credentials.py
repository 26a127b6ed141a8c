"""Content credentials, signed and read: by the library's reader, in the contained child, and by ExifTool's reading of
JUMBF (ISO/IEC 19566-5) as the second. C2PA Technical Specification 2.4 is the version that the library names."""

from __future__ import annotations

import hashlib
import io
import json
import os
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import cache
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from threading import Thread

import cv2
import numpy as np
import pytest
import pyvips
from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import decode_dss_signature
from cryptography.hazmat.primitives.serialization import Encoding
from PIL import Image

from galleries.imaging import recipes, rights
from galleries.imaging.contained import door
from galleries.imaging.credentials import library
from galleries.imaging.credentials.origin import Origin, definition, digest_in, hash_uri
from galleries.imaging.credentials.read import read
from galleries.imaging.credentials.sign import Signer, room, sign
from galleries.imaging.errors import BadCredentials
from galleries.imaging.framing.cut_order import CutOrder
from galleries.imaging.framing.geometry import Rect
from galleries.imaging.framing.sizes import SizeSpec
from galleries.words import credentials as words
from tests import outside
from tests.pictures import camera_file

FRAME, VERSION = "f" * 64, "e" * 64
PLAIN = Origin(FRAME, cropped=True, resized=True)
EVERYTHING = Origin(FRAME, VERSION, "compositeWithTrainedAlgorithmicMedia", *[True] * 6)
KINDS = ["JPEG", "progressive JPEG", "TIFF", "TIFF of 16 bits", "PNG"]


def signer_until(days: float = 30, purpose: str = "1.3.6.1.5.5.7.3.4") -> Signer:
    """A chain of two, as an authority would give it."""
    keys = [ec.generate_private_key(ec.SECP256R1()) for _ in range(2)]
    names = [
        x509.Name([x509.NameAttribute(x509.NameOID.ORGANIZATION_NAME, name)])
        for name in ("Kelmscott Trust", "Northlight Rooms")
    ]
    parts = []
    for number in (0, 1):
        usage = dict.fromkeys(
            (
                *("digital_signature", "content_commitment", "key_encipherment", "data_encipherment"),
                *("key_agreement", "key_cert_sign", "crl_sign", "encipher_only", "decipher_only"),
            ),
            False,
        )
        usage["digital_signature" if number else "key_cert_sign"] = True
        builder = (
            x509.CertificateBuilder().subject_name(names[number]).issuer_name(names[0])
            .public_key(keys[number].public_key()).serial_number(4711 + number)
            .not_valid_before(datetime.now(UTC) - timedelta(days=60))
            .not_valid_after(datetime.now(UTC) + timedelta(days=days))
            .add_extension(x509.BasicConstraints(ca=not number, path_length=None), critical=True)
            .add_extension(x509.KeyUsage(**usage), critical=True)
            .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(keys[0].public_key()), critical=False)
        )  # fmt: skip
        if number:
            builder = builder.add_extension(x509.ExtendedKeyUsage([x509.ObjectIdentifier(purpose)]), critical=False)
        parts.append(builder.sign(keys[0], hashes.SHA256()).public_bytes(Encoding.PEM).decode())

    def signature(data: bytes) -> bytes:
        r, s = decode_dss_signature(keys[1].sign(data, ec.ECDSA(hashes.SHA256())))
        return r.to_bytes(32, "big") + s.to_bytes(32, "big")

    return Signer(parts[1] + parts[0], parts[0], signature)


STUDIO = cache(signer_until)


@cache
def unsigned(kind: str) -> bytes:
    """A final with its rights metadata, as the recipe makes it; PNG as another program would."""
    if kind == "PNG":
        out = io.BytesIO()
        Image.open(io.BytesIO(unsigned("JPEG"))).save(out, "PNG")
        return out.getvalue()
    size = SizeSpec(
        slug="one", title="One", use="web" if kind.startswith("prog") else "print", width=480, height=600,
        file_format=kind.split()[-1] if "JPEG" in kind else "TIFF", bits=16 if "16" in kind else 8,
    )  # fmt: skip
    record = rights.RightsRecord(creators=("Tamsin Okonedo-Vale",), title="Ansa Veld")
    (file,) = recipes.make_finals(camera_file(0, 900)[1], [CutOrder(size, Rect(0, 0, 400, 500))], rights=record)
    return file.data


@cache
def signed(kind: str, origin: Origin = PLAIN) -> bytes:
    return sign(unsigned(kind), origin, "seed", STUDIO())


@pytest.mark.parametrize("origin", [PLAIN, EVERYTHING], ids=["as it is", "everything"])
@pytest.mark.parametrize("kind", KINDS)
def test_what_was_signed_reads_back_in_the_child(kind: str, origin: Origin) -> None:
    told = door.read_credentials(signed(kind, origin), STUDIO().anchors)
    assert told is not None
    assert (told.known, told.changed, told.ended, told.faults) == (True, False, False, ())
    assert (told.signer, told.serial, told.program) == ("Northlight Rooms", "4712", "Headshot portal")
    names = [one.name.removeprefix("c2pa.") for one in told.actions]
    if origin is PLAIN:
        assert names == ["opened", "cropped", "resized"]
        assert [(one.relationship, one.sha256) for one in told.ingredients] == [("parentOf", FRAME)]
    else:
        assert names == [
            *("opened", "edited", "orientation", "cropped", "resized", "adjustedColor", "drawing", "addedText")
        ]
        assert told.actions[1].source == "compositeWithTrainedAlgorithmicMedia"
        assert {(one.relationship, one.sha256) for one in told.ingredients} == {
            ("parentOf", FRAME), ("inputTo", VERSION),
        }  # fmt: skip


@pytest.mark.parametrize("kind", KINDS)
def test_every_reader_sees_the_same_picture(kind: str) -> None:
    """Pillow, libvips and OpenCV; Chromium in tests/browser/test_signed.py. What a lab's programs do is not known."""
    before, after = unsigned(kind), signed(kind)
    one, other = Image.open(io.BytesIO(before)), Image.open(io.BytesIO(after))
    assert one.tobytes() == other.tobytes()
    assert one.info.get("icc_profile") == other.info.get("icc_profile")
    assert one.info.get("dpi") == other.info.get("dpi")
    vips = [pyvips.Image.new_from_buffer(data, "", fail_on="warning") for data in (before, after)]
    assert vips[0].numpy().tobytes() == vips[1].numpy().tobytes()
    eyes = [cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED) for data in (before, after)]
    assert np.array_equal(*eyes)
    assert rights.read_rights(after) == rights.read_rights(before)


def test_exiftool_reads_the_same_of_it(tmp_path: Path) -> None:
    path = tmp_path / "signed.jpg"
    path.write_bytes(signed("JPEG", EVERYTHING))
    arguments = ["-j", "-a", "-G3", "-JUMBF:all", "-validate", "-warning", str(path)]
    ran = subprocess.run([outside.program("exiftool"), *arguments], capture_output=True, text=True, check=True)
    (told,) = json.loads(ran.stdout)
    values = json.dumps(told)
    assert [value for name, value in told.items() if name.endswith("Validate")] == ["OK"]
    assert hash_uri(FRAME) in values
    assert hash_uri(VERSION) in values
    actions = next(value for name, value in told.items() if name.endswith("ActionsAction"))
    assert actions[:3] == ["c2pa.opened", "c2pa.edited", "c2pa.orientation"]
    kinds = next(value for name, value in told.items() if name.endswith("ActionsDigitalSourceType"))
    assert [one.rpartition("/")[2] for one in kinds] == ["digitalCapture", "compositeWithTrainedAlgorithmicMedia"]


def manifest_of(data: bytes) -> bytes:
    """What signing added to a JPEG: its APP11 segments (ISO/IEC 19566-5)."""
    at, parts = 2, []
    while data[at] == 0xFF and data[at + 1] != 0xDA:
        length = int.from_bytes(data[at + 2 : at + 4], "big")
        parts += [data[at + 4 : at + 2 + length]] if data[at + 1] == 0xEB else []
        at += 2 + length
    return b"".join(parts)


def test_nobody_is_named_in_it() -> None:
    assert b"Ansa Veld" in signed("JPEG", EVERYTHING)  # in the rights metadata, where people put it
    manifest = manifest_of(signed("JPEG", EVERYTHING))
    assert b"c2pa.cropped" in manifest
    for name in ("Ansa", "Veld", "Tamsin", "Okonedo", ".jpg", "KAL_"):
        assert name.lower().encode() not in manifest.lower(), name


@pytest.mark.parametrize("kind", KINDS)
def test_a_changed_file_is_told(kind: str) -> None:
    data = bytearray(signed(kind))
    data[len(data) // 2] ^= 1
    told = door.read_credentials(bytes(data), STUDIO().anchors)
    assert told is not None
    assert told.changed or told.faults
    assert "changed after it was signed" in words.sentences(told)[0]


def test_a_changed_word_in_the_metadata_is_told_too() -> None:
    data = signed("JPEG").replace(b"Ansa Veld", b"Anna Veld")
    told = door.read_credentials(data, STUDIO().anchors)
    assert told is not None
    assert told.changed


def test_a_changed_word_in_the_credentials_is_told() -> None:
    data = signed("JPEG", EVERYTHING).replace(b"c2pa.cropped", b"c2pa.dropped")
    told = door.read_credentials(data, STUDIO().anchors)
    assert told is not None
    assert told.changed


def test_the_credentials_of_another_file_do_not_fit() -> None:
    """Cut out of one final, and put into another: what a forger would try first."""
    other = sign(unsigned("progressive JPEG"), EVERYTHING, "seed", STUDIO())
    segments = _app11(signed("JPEG", EVERYTHING))
    forged = other[:2] + segments + _without_app11(other)[2:]
    told = door.read_credentials(forged, STUDIO().anchors)
    assert told is not None
    assert told.changed or told.faults


def _app11(data: bytes) -> bytes:
    return b"".join(part for part in _segments(data) if part[1] == 0xEB)


def _without_app11(data: bytes) -> bytes:
    parts = _segments(data)
    return b"\xff\xd8" + b"".join(part for part in parts if part[1] != 0xEB) + data[2 + sum(map(len, parts)) :]


def _segments(data: bytes) -> list[bytes]:
    at, parts = 2, []
    while data[at] == 0xFF and data[at + 1] != 0xDA:
        length = 2 + int.from_bytes(data[at + 2 : at + 4], "big")
        parts.append(data[at : at + length])
        at += length
    return parts


def test_saved_again_by_another_program_it_says_nothing() -> None:
    out = io.BytesIO()
    Image.open(io.BytesIO(signed("JPEG"))).save(out, "JPEG")
    assert door.read_credentials(out.getvalue()) is None
    assert words.sentences(None) == [words.NONE]


def test_strangers_are_not_taken_for_the_studio() -> None:
    told = door.read_credentials(sign(unsigned("JPEG"), PLAIN, "seed", signer_until()), STUDIO().anchors)
    assert told is not None
    assert (told.known, told.changed) == (False, False)
    assert words.sentences(told)[1] == "Signed by somebody unknown here, who goes by “Northlight Rooms”."


def test_a_reader_that_knows_nobody_still_sees_a_whole_file() -> None:
    """As any program with the library's own defaults does: the purpose of the certificate is one it accepts."""
    import c2pa

    with c2pa.Reader("image/jpeg", io.BytesIO(signed("JPEG"))) as reader:
        assert reader.get_validation_state() == "Valid"
        assert [one["code"] for one in json.loads(reader.json())["validation_status"]] == [
            "signingCredential.untrusted"
        ]
        assert json.loads(reader.json())["validation_results"]["specVersion"] == "2.4.0"


@pytest.mark.parametrize(("days", "purpose"), [(-1, "1.3.6.1.5.5.7.3.4"), (30, "1.3.6.1.5.5.7.3.1")])
def test_no_file_leaves_under_a_certificate_that_readers_refuse(days: int, purpose: str) -> None:
    """Ended, or for web servers only."""
    with pytest.raises(BadCredentials):
        sign(unsigned("JPEG"), PLAIN, "seed", signer_until(days, purpose))


@pytest.mark.parametrize("origin", [PLAIN, EVERYTHING], ids=["as it is", "everything"])
@pytest.mark.parametrize("kind", KINDS)
def test_the_room_kept_is_enough_and_not_much_more(kind: str, origin: Origin) -> None:
    added = len(signed(kind, origin)) - len(unsigned(kind))
    assert added <= room(origin, "seed", STUDIO()) <= added + 700


@pytest.mark.parametrize("origin", [PLAIN, EVERYTHING], ids=["as it is", "everything"])
def test_the_room_kept_hangs_on_no_digest(origin: Origin) -> None:
    """So that one measure does for all finals of a delivery of which the same is said."""

    def digest(text: str) -> str:
        return hashlib.sha256(text.encode()).hexdigest()

    others = [
        replace(origin, frame=digest(f"f{n}"), version=digest(f"v{n}") if origin.version else "") for n in range(20)
    ]
    assert {room(one, digest(f"s{n}") * (n % 2), STUDIO()) for n, one in enumerate(others)} == {
        room(origin, "seed", STUDIO())
    }


@pytest.mark.parametrize(
    "data", [b"", b"no picture", b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n" + bytes(40), b"II*\0" + bytes(90)]
)
def test_what_is_no_picture_says_nothing(data: bytes) -> None:
    told = door.read_credentials(data)
    assert told is None or told.faults


@pytest.mark.parametrize("at", range(40, 13000, 617))
def test_broken_credentials_break_nothing(at: int) -> None:
    data = bytearray(signed("JPEG", EVERYTHING))
    data[at : at + 4] = b"\xff\x00\xff\x7f"
    told = read(bytes(data), STUDIO().anchors)
    assert told is None or isinstance(words.sentences(told), list)


@pytest.fixture
def elsewhere() -> Iterator[tuple[str, list[str]]]:
    """A server of this machine, and what it was asked for."""
    asked: list[str] = []

    class Answer(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            asked.append(self.path)
            self.send_error(404)

        def log_message(self, *words: object) -> None:
            """Quiet."""

    server = HTTPServer(("127.0.0.1", 0), Answer)
    thread = Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}/there.c2pa", asked
    server.shutdown()
    thread.join()
    server.server_close()


def test_nothing_is_fetched_whatever_a_file_asks_for(elsewhere: tuple[str, list[str]]) -> None:
    """A file whose credentials lie elsewhere (C2PA 2.4, remote manifests), read without the walls of the child. The
    library by itself does ask: so it would be seen."""
    import c2pa

    address, asked = elsewhere
    target = io.BytesIO()
    kind, signer = "image/jpeg", STUDIO()
    author = c2pa.Signer.from_callback(signer.signature, c2pa.C2paSigningAlg.ES256, signer.chain)
    context = c2pa.Context.from_dict(library.settings(signer.anchors))
    with author, context, c2pa.Builder(definition(PLAIN, kind, "seed"), context=context) as builder:
        builder.set_no_embed()
        builder.set_remote_url(address)
        builder.sign(author, kind, io.BytesIO(unsigned("JPEG")), target)
    data = target.getvalue()
    assert address.encode() in data
    told = read(data)
    assert told is None or told.faults
    assert asked == []
    with pytest.raises(c2pa.C2paError):
        c2pa.Reader(kind, io.BytesIO(data))
    assert asked == ["/there.c2pa"]


def test_digests_there_and_back() -> None:
    """RFC 6920, 8.1: the digest of "Hello World!" in base64url."""
    digest = "7f83b1657ff1fc53b92dc18148a1d65dfc2d4b1fa3d677284addd200126d9069"
    assert hash_uri(digest) == "ni:///sha-256;f4OxZX_x_FO5LcGBSKHWXfwtSx-j1ncoSt3SABJtkGk"
    assert digest_in(hash_uri(digest)) == digest
    for strange in ("", "ni:///sha-256;", "ni:///sha-256;f4Ox", "xmp:iid:1", "ni:///sha-256;ü"):
        assert digest_in(strange) == ""


def test_the_library_is_loaded_by_who_signs_only() -> None:
    code = "import sys, django; django.setup(); import galleries.steps.delivering.build"
    code += ", galleries.imaging.contained.entries"
    code += "; print([name for name in sys.modules if name.split('.')[0] == 'c2pa'])"
    env = {**os.environ, "DJANGO_SETTINGS_MODULE": "portal.settings"}
    ran = subprocess.run(
        [sys.executable, "-W", "ignore", "-c", code], env=env, capture_output=True, text=True, check=True
    )
    assert ran.stdout.strip() == "[]"
