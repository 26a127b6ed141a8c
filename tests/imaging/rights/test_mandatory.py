"""Delivered files are whole in ExifTool's eyes: its own validation, an independent reading of CIPA DC-008's tables."""

from __future__ import annotations

import io
import json
import subprocess
from pathlib import Path

import pytest
from PIL import Image

from galleries.imaging.colour import convert, profiles
from galleries.imaging.rights import mandatory
from galleries.imaging.rights import write as rights
from galleries.imaging.rights.record import RightsRecord
from tests import outside
from tests.imaging.rights.test_write import FULL

SMALL = RightsRecord(creators=("Marit Ødegård",))


def picture(fmt: str, mode: str = "RGB", **options: object) -> bytes:
    out = io.BytesIO()
    Image.new(mode, (60, 40), 90 if mode == "L" else None).save(out, fmt, **options)
    return out.getvalue()


def validated(data: bytes, folder: Path) -> tuple[str, dict[str, object]]:
    """ExifTool's verdict, and the tags it reads."""
    path = folder / "file"
    path.write_bytes(data)
    tool = outside.program("exiftool")
    told = subprocess.run([tool, "-validate", "-warning", "-a", "-s3", str(path)], capture_output=True, text=True)
    read = subprocess.run([tool, "-j", "-n", "-G1", str(path)], capture_output=True, check=True)
    return told.stdout.strip(), json.loads(read.stdout)[0]


CASES = {
    "sRGB": picture("JPEG", icc_profile=convert.srgb_profile(), dpi=(300, 300)),
    "Adobe RGB": picture("JPEG", icc_profile=profiles.build("Adobe RGB")),
    "no profile": picture("JPEG"),
    "grey": picture("JPEG", "L", icc_profile=profiles.build("Gray")),
    "progressive": picture("JPEG", progressive=True, dpi=(118, 118)),
    "PNG": picture("PNG", icc_profile=convert.srgb_profile()),
    "TIFF": picture("TIFF", icc_profile=convert.srgb_profile(), dpi=(300, 300)),
}


@pytest.mark.parametrize("what", CASES)
@pytest.mark.parametrize("record", [FULL, SMALL], ids=["full", "small"])
def test_exiftool_has_nothing_to_complain_of(what: str, record: RightsRecord, tmp_path: Path) -> None:
    """Nine warnings for a JPEG before, two for a TIFF."""
    assert validated(rights.write_rights(CASES[what], record), tmp_path)[0] == "OK"


@pytest.mark.parametrize(("what", "space"), [("sRGB", 1), ("Adobe RGB", 65535), ("no profile", 1), ("grey", 65535)])
def test_the_space_is_the_files_own(what: str, space: int, tmp_path: Path) -> None:
    tags = validated(rights.write_rights(CASES[what], FULL), tmp_path)[1]
    assert tags["ExifIFD:ColorSpace"] == space
    assert (tags["ExifIFD:ExifImageWidth"], tags["ExifIFD:ExifImageHeight"]) == (60, 40)


@pytest.mark.parametrize(("what", "ppi"), [("sRGB", 300), ("no profile", 72), ("progressive", 118)])
def test_resolution_is_that_of_the_jfif_header(what: str, ppi: int, tmp_path: Path) -> None:
    tags = validated(rights.write_rights(CASES[what], FULL), tmp_path)[1]
    assert (tags["IFD0:XResolution"], tags["IFD0:YResolution"], tags["IFD0:ResolutionUnit"]) == (ppi, ppi, 2)


def test_the_digest_beside_iim_is_the_one_exiftool_computes(tmp_path: Path) -> None:
    tags = validated(rights.write_rights(CASES["sRGB"], FULL), tmp_path)[1]
    assert tags["Photoshop:IPTCDigest"] == tags["File:CurrentIPTCDigest"]


def test_written_twice_nothing_doubles() -> None:
    once = rights.write_rights(CASES["sRGB"], FULL)
    assert rights.write_rights(once, FULL) == once
    assert rights.check(once, FULL) == []


def test_a_picture_that_says_nothing_carries_nothing() -> None:
    assert mandatory.exif("JPEG", CASES["sRGB"], {}) == {}
    assert b"Exif" not in rights.strip_metadata(CASES["sRGB"])
