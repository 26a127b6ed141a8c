"""Written rights are read back field by field by ExifTool, a reader that shares no code with the writer."""

from __future__ import annotations

import io
import json
import subprocess
from contextlib import suppress
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageCms, TiffImagePlugin

from galleries.imaging import rights
from galleries.imaging.errors import BadRights, ImagingError, Unreadable, Unsupported
from galleries.imaging.rights import Licensor, Party, RightsRecord
from tests.telling import refused

NAME = "Zoë Œuvrard-Ångström 李小龍"  # invented; mixes Latin-1, Latin Extended and Han
PLUS = "http://ns.useplus.org/ldf/vocab/"
FORMATS = ("JPEG", "TIFF", "PNG")

FULL = RightsRecord(
    creators=("Marit Ødegård", "Semi; Colon"),
    copyright_notice="© 2026 Marit Ødegård. All rights reserved.",
    credit_line="Photograph: Marit Ødegård / Studio Nord",
    title="Headshot, look 2",
    description=f'{NAME}, head and shoulders\nin a grey jumper <& "quoted">.',
    instructions="Not for advertising. " + "Ä" * 200,
    job_id="SIT-2026-0042",
    usage_terms="type=Bag Casting submissions and the subject's own website.",
    web_statement="https://studio.example/rights",
    licensors=(
        Licensor("Studio Nord", "hello@studio.example", "https://studio.example", "+47 0 00 00", "L-1"),
        Licensor("Second Desk"),
    ),
    copyright_owners=(Party("Marit Ødegård", "O-1"),),
    image_creators=(Party("Marit Ødegård"), Party("Assistant Ås", "C-2")),
    image_suppliers=(Party("Studio Nord", "S-1"),),
    data_mining="DMI-PROHIBITED-SEECONSTRAINT",
    other_constraints="Search engines may index the picture.",
    model_release_status="MR-LMR",
    model_release_ids=("MR-2026-7", "MR-2026-8"),
    minor_age="AG-A16",
    alteration_constraints=("AL-CRP", "AL-MRG"),
    license_start=date(2026, 3, 1),
    license_end=date(2028, 2, 29),
    license_id="LIC-2026-11",
    terms_text="As agreed on paper.",
    terms_url="https://studio.example/terms",
    persons=(NAME, "Second Person"),
    alt_text="A person with short hair looks at the camera in front of a grey backdrop.",
    digital_source_type="humanEdits",
    document_id="xmp.did:0001",
    original_document_id="xmp.did:0000",
    image_guid="0123456789abcdef0123456789abcdef",
    captured_at=datetime(2026, 2, 3, 4, 5, 6, 780000),
)


def painted(fmt: str, **options: object) -> bytes:
    ramp = np.add.outer(np.arange(40), np.arange(60))[..., None] * np.array([2, 1, 3]) % 256
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    out = io.BytesIO()
    Image.fromarray(ramp.astype("uint8")).save(out, fmt, dpi=(300, 300), icc_profile=profile, **options)
    return out.getvalue()


def exiftool(data: bytes, tmp_path: Path, *options: str) -> dict[str, object]:
    path = tmp_path / "file"
    path.write_bytes(data)
    command = ["exiftool", "-j", "-G1", "-a", "-struct", "-n", "-charset", "iptc=Latin", *options, str(path)]
    return json.loads(subprocess.run(command, capture_output=True, check=True).stdout)[0]  # type: ignore[no-any-return]


@pytest.mark.parametrize("fmt", FORMATS)
def test_exiftool_reads_every_field_back(fmt: str, tmp_path: Path) -> None:
    seen = exiftool(rights.write_rights(painted(fmt), FULL), tmp_path)
    expected = {
        "XMP-dc:Creator": list(FULL.creators),
        "XMP-dc:Rights": FULL.copyright_notice,
        "XMP-photoshop:Credit": FULL.credit_line,
        "XMP-dc:Title": FULL.title,
        "XMP-dc:Description": FULL.description,
        "XMP-photoshop:Instructions": FULL.instructions,
        "XMP-photoshop:TransmissionReference": FULL.job_id,
        "XMP-xmpRights:UsageTerms": FULL.usage_terms,
        "XMP-xmpRights:Marked": True,
        "XMP-xmpRights:WebStatement": FULL.web_statement,
        "XMP-plus:Licensor": [
            {
                "LicensorID": "L-1",
                "LicensorName": "Studio Nord",
                "LicensorTelephone1": "+47 0 00 00",
                "LicensorEmail": "hello@studio.example",
                "LicensorURL": "https://studio.example",
            },
            {"LicensorName": "Second Desk"},
        ],
        "XMP-plus:CopyrightOwner": [{"CopyrightOwnerID": "O-1", "CopyrightOwnerName": "Marit Ødegård"}],
        "XMP-plus:ImageCreator": [
            {"ImageCreatorName": "Marit Ødegård"},
            {"ImageCreatorID": "C-2", "ImageCreatorName": "Assistant Ås"},
        ],
        "XMP-plus:ImageSupplier": [{"ImageSupplierID": "S-1", "ImageSupplierName": "Studio Nord"}],
        "XMP-plus:DataMining": PLUS + "DMI-PROHIBITED-SEECONSTRAINT",
        "XMP-plus:OtherConstraints": FULL.other_constraints,
        "XMP-plus:ModelReleaseStatus": "MR-LMR",
        "XMP-plus:ModelReleaseID": list(FULL.model_release_ids),
        "XMP-plus:MinorModelAgeDisclosure": "AG-A16",
        "XMP-plus:ImageAlterationConstraints": ["AL-CRP", "AL-MRG"],
        "XMP-plus:LicenseStartDate": "2026:03:01",
        "XMP-plus:LicenseEndDate": "2028:02:29",
        "XMP-plus:LicenseID": FULL.license_id,
        "XMP-plus:TermsAndConditionsText": FULL.terms_text,
        "XMP-plus:TermsAndConditionsURL": FULL.terms_url,
        "XMP-iptcExt:PersonInImage": list(FULL.persons),
        "XMP-iptcCore:AltTextAccessibility": FULL.alt_text,
        "XMP-iptcExt:DigitalSourceType": "http://cv.iptc.org/newscodes/digitalsourcetype/humanEdits",
        "XMP-xmpMM:DocumentID": FULL.document_id,
        "XMP-xmpMM:OriginalDocumentID": FULL.original_document_id,
        "XMP-iptcExt:DigitalImageGUID": FULL.image_guid,
        "XMP-photoshop:DateCreated": "2026:02:03 04:05:06.78",
        "IPTC:By-line": list(FULL.creators),
        "IPTC:CopyrightNotice": FULL.copyright_notice,
        "IPTC:ObjectName": FULL.title,
        "IPTC:Caption-Abstract": FULL.description,
        "IPTC:OriginalTransmissionReference": FULL.job_id,
        "IPTC:DateCreated": "2026:02:03",
        "IFD0:Artist": 'Marit Ødegård; "Semi; Colon"',
        "IFD0:Copyright": FULL.copyright_notice,
        "IFD0:ImageDescription": FULL.description,
        "ExifIFD:DateTimeOriginal": "2026:02:03 04:05:06",
        "ExifIFD:ImageUniqueID": FULL.image_guid,
    }
    bare = {k: _without_vocabulary(v) if k in CODED else v for k, v in seen.items()}
    assert {key: bare.get(key) for key in expected} == {
        key: _without_vocabulary(value) if key in CODED else value for key, value in expected.items()
    }
    assert str(seen["ExifIFD:SubSecTimeOriginal"]) == "78"
    # IIM is cut to its bytes, on a character boundary (IIM 4.2: credit 32, special instructions 256 bytes)
    assert seen["IPTC:Credit"] == "Photograph: Marit Ødegård / St"
    instructions = str(seen["IPTC:SpecialInstructions"])
    assert len(instructions.encode()) == 255
    assert FULL.instructions.startswith(instructions)


CODED = {
    "XMP-plus:DataMining",
    "XMP-plus:ModelReleaseStatus",
    "XMP-plus:MinorModelAgeDisclosure",
    "XMP-plus:ImageAlterationConstraints",
}


def _without_vocabulary(value: object) -> object:
    if isinstance(value, list):
        return [_without_vocabulary(item) for item in value]
    return str(value).removeprefix(PLUS)


@pytest.mark.parametrize("fmt", FORMATS)
def test_our_own_reader_and_check_agree(fmt: str) -> None:
    data = rights.write_rights(painted(fmt), FULL)
    assert rights.check(data, FULL) == []
    found = rights.read_rights(data)
    assert found.record == FULL
    assert (found.format, found.disagreements, found.private, found.problems) == (fmt, (), (), ())


@pytest.mark.parametrize("fmt", FORMATS)
def test_pixels_profile_and_resolution_stay_and_bytes_repeat(fmt: str) -> None:
    before = painted(fmt)
    kept = bytes(bytearray(before))
    after = rights.write_rights(before, FULL)
    assert before == kept, "the input must not be touched in place"
    assert after == rights.write_rights(before, FULL)
    with Image.open(io.BytesIO(before)) as old, Image.open(io.BytesIO(after)) as new:
        assert np.array_equal(np.asarray(old), np.asarray(new))
        assert new.info["icc_profile"] == old.info["icc_profile"]
        assert [round(float(v)) for v in new.info["dpi"]] == [300, 300]


@pytest.mark.parametrize("fmt", FORMATS)
def test_writing_twice_leaves_only_the_second_record(fmt: str) -> None:
    once = rights.write_rights(painted(fmt), FULL)
    second = RightsRecord(creators=("Other Person",), title="Second")
    assert rights.write_rights(once, second) == rights.write_rights(painted(fmt), second)
    assert rights.check(rights.write_rights(once, second), second) == []
    assert rights.check(once, second) != []


def laden(fmt: str) -> bytes:
    """A picture as a camera and an editor leave it: position, serial, owner, maker notes, comment."""
    exif = Image.Exif()
    exif[0x0112] = 6
    exif[0x013C] = "owners-laptop"
    private = exif.get_ifd(0x8769)
    private[0xA430], private[0xA431], private[0x927C] = "Owner Name", "SERIAL123", b"MAKERNOTE" * 5
    exif.get_ifd(0x8825)[2] = (48.0, 8.0, 49.0)
    xmp = (
        b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">'
        b'<rdf:Description rdf:about="" xmlns:photoshop="http://ns.adobe.com/photoshop/1.0/" '
        b'photoshop:City="SECRETCITY"/></rdf:RDF></x:xmpmeta>'
    )
    if fmt == "JPEG":
        return painted(fmt, exif=exif, xmp=xmp, comment=b"SECRETCOMMENT") + b"SECRETTRAILER"
    if fmt == "PNG":
        return painted(fmt, exif=exif)
    info = TiffImagePlugin.ImageFileDirectory_v2()
    info[700], info[315], info[0x0112] = xmp, "SECRETARTIST", 6
    return painted(fmt, tiffinfo=info)


@pytest.mark.parametrize("fmt", FORMATS)
def test_everything_else_is_stripped_but_the_orientation(fmt: str, tmp_path: Path) -> None:
    data = laden(fmt)
    if fmt != "PNG":
        assert rights.read_rights(data).private
    clean = rights.strip_metadata(data)
    assert rights.read_rights(clean).private == ()
    assert rights.read_rights(clean).empty
    for secret in (b"SECRET", b"SERIAL123", b"MAKERNOTE", b"Owner", b"laptop"):
        assert secret not in clean
    seen = exiftool(clean, tmp_path)
    groups = {key.split(":")[0] for key in seen if ":" in key} - {"ExifTool", "System", "File", "Composite"}
    assert groups <= {"JFIF", "PNG", "PNG-pHYs", "IFD0", "ICC-header", "ICC_Profile", "ICC-chrm"}
    assert seen.get("IFD0:Orientation") == 6
    with Image.open(io.BytesIO(data)) as old, Image.open(io.BytesIO(clean)) as new:
        assert np.array_equal(np.asarray(old), np.asarray(new))


def test_progressive_and_grey_jpegs_keep_their_coded_pixels() -> None:
    out = io.BytesIO()
    Image.new("L", (33, 21), 77).save(out, "JPEG", progressive=True)
    data = rights.write_rights(out.getvalue(), FULL)
    with Image.open(io.BytesIO(data)) as new, Image.open(out) as old:
        assert np.array_equal(np.asarray(new), np.asarray(old))


@pytest.mark.parametrize("mode", ["I;16", "RGB"])
@pytest.mark.parametrize("compression", ["raw", "tiff_lzw", "tiff_adobe_deflate"])
def test_tiff_variants_keep_their_pixels(mode: str, compression: str) -> None:
    rng = np.random.default_rng(1)
    array = rng.integers(0, 65535, (50, 70), dtype=np.uint16)
    picture = (
        Image.fromarray(array)
        if mode == "I;16"
        else Image.fromarray((array[..., None] % np.array([256, 200, 90])).astype("uint8"))
    )
    out = io.BytesIO()
    picture.save(out, "TIFF", compression=compression)
    data = rights.write_rights(out.getvalue(), FULL)
    assert rights.check(data, FULL) == []
    with Image.open(io.BytesIO(data)) as new:
        assert np.array_equal(np.asarray(new), np.asarray(picture))


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"data_mining": "DMI-MAYBE"}, "data_mining"),
        ({"model_release_status": "yes"}, "model_release_status"),
        ({"alteration_constraints": ("AL-XXX",)}, "alteration_constraints"),
        ({"license_end": date(2020, 1, 1)}, "before it starts"),
        ({"alt_text": "a" * 251}, "251 characters"),
        ({"title": "bad\x00title"}, "title"),
        ({"licensors": (Licensor("ok\x07"),)}, "licensors"),
        ({"web_statement": "studio.example"}, "web_statement"),
        ({"other_constraints": ""}, "constraint"),
    ],
)
def test_a_bad_record_is_refused_with_the_field_named(change: dict[str, object], word: str) -> None:
    with refused(BadRights, word):
        rights.write_rights(painted("JPEG"), replace(FULL, **change))  # type: ignore[arg-type]


def test_a_record_too_long_for_a_jpeg_is_refused() -> None:
    with pytest.raises(BadRights):
        rights.write_rights(painted("JPEG"), replace(FULL, usage_terms="x" * 70000))


@pytest.mark.parametrize("fmt", FORMATS)
def test_broken_files_are_refused_in_a_sentence(fmt: str) -> None:
    data = painted(fmt)
    for length in (9, 30, len(data) // 3, len(data) - 4):
        with pytest.raises((Unreadable, Unsupported)):
            rights.write_rights(data[:length], FULL)
    with pytest.raises(Unsupported):
        rights.read_rights(b"GIF89a" + data)


LINE = st.text(st.characters(exclude_categories=("Cs", "Cc", "Co", "Cn")), max_size=60)


@settings(max_examples=25, deadline=None)
@given(LINE, LINE, st.lists(LINE, max_size=3), st.sampled_from(FORMATS))
def test_any_text_comes_back(title: str, credit: str, creators: list[str], fmt: str) -> None:
    record = RightsRecord(title=title, credit_line=credit, creators=tuple(creators), description=credit + "\n" + title)
    data = rights.write_rights(painted(fmt), record)
    assert rights.check(data, record) == []


def test_an_aware_capture_time_keeps_its_zone() -> None:
    record = RightsRecord(captured_at=datetime(2026, 5, 6, 7, 8, 9, tzinfo=UTC))
    for fmt in FORMATS:
        assert rights.check(rights.write_rights(painted(fmt), record), record) == []


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from(FORMATS), st.lists(st.tuples(st.integers(0, 10**6), st.integers(0, 255)), min_size=1, max_size=9)
)
def test_damaged_files_give_an_answer_or_a_sentence(fmt: str, damage: list[tuple[int, int]]) -> None:
    data = bytearray(LADEN[fmt])
    for place, value in damage:
        data[place % len(data)] = value
    for act in (rights.read_rights, rights.strip_metadata, lambda b: rights.check(rights.write_rights(b, FULL), FULL)):
        with suppress(ImagingError):  # anything else fails the test
            act(bytes(data))


LADEN = {fmt: rights.write_rights(laden(fmt), FULL) for fmt in FORMATS}


@pytest.mark.parametrize("length", [8, 9, 10, 265])
def test_every_length_of_the_iim_block_can_be_read_back_from_a_png(length: int) -> None:
    """At some lengths (28 in the low byte) Exiv2 reads nothing from a PNG unless the writer avoids them."""
    record = RightsRecord(description="d" * length, copyright_notice="c")
    assert rights.check(rights.write_rights(painted("PNG"), record), record) == []
