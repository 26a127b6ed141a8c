"""The field table against IPTC's published technical reference, and IPTC's reference picture read in full.

Sources: IPTC Photo Metadata TechReference 2025.1 (CC BY 4.0) and the IPTC Photo Metadata reference picture
2023.2, both under ../shared/data. Precedence: Metadata Working Group guidance 2.0.
"""

from __future__ import annotations

import io
import json
import subprocess
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import exiv2
import pytest
from PIL import Image

from galleries.imaging import rights
from galleries.imaging.codes import Code
from galleries.imaging.rights import Licensor, Party, RightsRecord, engine, fields, names
from galleries.imaging.rights.further import further
from galleries.told import told
from galleries.words.rights import rights_sentences
from tests import outside
from tests.telling import sentence_of


def reference() -> Path:
    return outside.shared("IPTC-PhotometadataRef-Std2023.2.jpg")


def technical() -> dict[str, Any]:
    return json.loads(outside.shared("iptc-pmd-techreference_2025.1.json").read_text())


# not in the IPTC standard: PLUS LDF 2.0.1 and ISO 16684-1 own them
OUTSIDE_IPTC = {
    "plus:ImageAlterationConstraints",
    "plus:LicenseID",
    "plus:TermsAndConditionsText",
    "plus:TermsAndConditionsURL",
    "xmpMM:DocumentID",
    "xmpMM:OriginalDocumentID",
}


@pytest.mark.parametrize("spec", fields.TEXT_FIELDS, ids=lambda spec: spec.name)
def test_names_ids_and_limits_are_the_standards(spec: fields.TextField) -> None:
    published = technical()["ipmd_top"].values()
    entry = next((item for item in published if item.get("XMPid") == spec.xmp), None)
    if spec.xmp in OUTSIDE_IPTC:
        assert entry is None
        return
    assert entry is not None, f"{spec.xmp} is no property of the standard"
    assert entry.get("IIMid", "") == spec.iim_id
    assert entry.get("IIMmaxbytes", 0) == spec.limit
    assert (entry["propoccurrence"] == "multi") == spec.many
    assert (entry.get("dataformat") == "AltLang") == (spec.shape == "lang")
    if spec.exif and entry.get("EXIFid"):
        assert exiv2.ExifKey(spec.exif).tag() == int(entry["EXIFid"])


def test_structures_and_dates_are_the_standards() -> None:
    published = technical()
    top = {item.get("XMPid") for item in published["ipmd_top"].values()}
    assert {fields.LICENSOR, fields.CAPTURED, *fields.PARTY_FIELDS.values()} <= top
    parts = {item["XMPid"] for item in published["ipmd_struct"]["Licensor"].values()}
    assert set(fields.LICENSOR_PARTS.values()) <= parts
    for name, struct in (("CopyrightOwner",) * 2, ("ImageCreator",) * 2, ("ImageSupplier",) * 2):
        ids = {item["XMPid"] for item in published["ipmd_struct"][struct].values()}
        assert {f"plus:{name}ID", f"plus:{name}Name"} <= ids


def test_every_supported_field_of_the_reference_picture() -> None:
    tags = json.loads(
        subprocess.run(
            ["exiftool", "-j", "-G1", "-struct", "-n", "-a", str(reference())], capture_output=True, check=True
        ).stdout
    )[0]
    found = rights.read_rights(reference().read_bytes())
    record = found.record
    plain = {
        "creators": "XMP-dc:Creator",
        "copyright_notice": "XMP-dc:Rights",
        "credit_line": "XMP-photoshop:Credit",
        "title": "XMP-dc:Title",
        "description": "XMP-dc:Description",
        "instructions": "XMP-photoshop:Instructions",
        "job_id": "XMP-photoshop:TransmissionReference",
        "usage_terms": "XMP-xmpRights:UsageTerms",
        "web_statement": "XMP-xmpRights:WebStatement",
        "data_mining": "XMP-plus:DataMining",
        "other_constraints": "XMP-plus:OtherConstraints",
        "model_release_status": "XMP-plus:ModelReleaseStatus",
        "model_release_ids": "XMP-plus:ModelReleaseID",
        "minor_age": "XMP-plus:MinorModelAgeDisclosure",
        "persons": "XMP-iptcExt:PersonInImage",
        "alt_text": "XMP-iptcCore:AltTextAccessibility",
        "digital_source_type": "XMP-iptcExt:DigitalSourceType",
        "image_guid": "XMP-iptcExt:DigitalImageGUID",
    }
    for name, tag in plain.items():
        ours, theirs = getattr(record, name), tags[tag]
        if isinstance(ours, tuple):
            assert list(ours) == theirs, name
        else:
            assert ours == str(theirs).rsplit("/vocab/")[-1].removeprefix(
                "http://cv.iptc.org/newscodes/digitalsourcetype/"
            ), name
    assert record.licensors == tuple(
        Licensor(s["LicensorName"], s["LicensorEmail"], s["LicensorURL"], s["LicensorTelephone1"], s["LicensorID"])
        for s in tags["XMP-plus:Licensor"]
    )
    for name in ("CopyrightOwner", "ImageCreator", "ImageSupplier"):
        theirs = tuple(Party(s[f"{name}Name"], s[f"{name}ID"]) for s in tags[f"XMP-plus:{name}"])
        assert (
            getattr(
                record,
                {
                    "CopyrightOwner": "copyright_owners",
                    "ImageCreator": "image_creators",
                    "ImageSupplier": "image_suppliers",
                }[name],
            )
            == theirs
        )
    assert record.captured_at == datetime(2024, 3, 22, 0, 23, 2, tzinfo=UTC)
    # what is not in the picture is not invented
    assert (record.marked, record.license_id, record.license_end, record.alteration_constraints) == (
        None,
        "",
        None,
        (),
    )
    assert found.disagreements == ()
    assert found.iim_digest == "none"
    assert [one.code for one in found.private] == [Code.PRIVATE_POSITION, Code.PRIVATE_PLACE]


def test_the_reference_picture_can_be_rewritten_and_nothing_of_it_remains() -> None:
    record = RightsRecord(creators=("Marit Ødegård",))
    data = rights.write_rights(reference().read_bytes(), record)
    assert rights.check(data, record) == []
    assert b"ref2023.2" not in data


def plain_jpeg() -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (32, 24), (90, 80, 70)).save(out, "JPEG")
    return out.getvalue()


def edited(data: bytes, tmp_path: Path, *options: str) -> bytes:
    path = tmp_path / "edited.jpg"
    path.write_bytes(data)
    subprocess.run(["exiftool", "-q", "-overwrite_original", *options, str(path)], check=True)
    return path.read_bytes()


def test_order_of_containers(tmp_path: Path) -> None:
    base = rights.write_rights(plain_jpeg(), RightsRecord(title="From XMP", copyright_notice="Notice"))
    # an editor that knows IIM only, and leaves no digest: XMP wins, the difference is told
    data = edited(base, tmp_path, "-IPTC:ObjectName=From IIM", "-Photoshop:IPTCDigest=")
    found = rights.read_rights(data)
    assert (found.record.title, found.iim_digest) == ("From XMP", "none")
    assert "“title” differs" in sentence_of(found.disagreements[0])
    # the digest fits the IIM block: XMP wins
    data = edited(data, tmp_path, "-IPTCDigest=new")
    assert rights.read_rights(data).iim_digest == "matches"
    assert rights.read_rights(data).record.title == "From XMP"
    # IIM was changed after the digest was taken: IIM wins over XMP, but not over Exif
    data = edited(
        data,
        tmp_path,
        "-IPTC:ObjectName=Later IIM",
        "-IPTC:CopyrightNotice=Later",
        "-IPTCDigest=0" + "1" * 31,
    )
    found = rights.read_rights(data)
    assert (found.iim_digest, found.record.title, found.sources["title"]) == ("stale", "Later IIM", "IIM")
    assert (found.record.copyright_notice, found.sources["copyright_notice"]) == ("Notice", "Exif")
    # our own writing leaves no old digest behind
    assert rights.read_rights(rights.write_rights(data, RightsRecord(title="New"))).iim_digest == "matches"
    assert rights.read_rights(rights.strip_metadata(data)).iim_digest == "none"
    # an editor that knows IIM only, after us: its word is the later one
    later = edited(base, tmp_path, "-IPTC:ObjectName=From IIM")
    assert (rights.read_rights(later).record.title, rights.read_rights(later).iim_digest) == ("From IIM", "stale")


def test_a_stale_digest_with_merely_cut_text_keeps_the_whole_text(tmp_path: Path) -> None:
    title = "A title longer than the sixty-four bytes that the old dataset can hold, by far"
    base = rights.write_rights(plain_jpeg(), RightsRecord(title=title))
    found = rights.read_rights(edited(base, tmp_path, "-IPTCDigest=0" + "1" * 31))
    assert (found.iim_digest, found.record.title) == ("stale", title)


@pytest.mark.parametrize("kind", ["Bag", "Seq"])
def test_licensors_are_read_from_bag_and_seq(kind: str, tmp_path: Path) -> None:
    record = RightsRecord(licensors=(Licensor("Studio Nord"), Licensor("Second Desk", email="a@b.example")))
    packet = rights.xmp_packet(record)
    if kind == "Bag":
        packet = packet.replace("rdf:Seq>", "rdf:Bag>")
    side = tmp_path / "side.xmp"
    side.write_text(packet, encoding="utf-8")
    data = edited(plain_jpeg(), tmp_path, "-tagsfromfile", str(side), "-xmp")
    assert rights.read_rights(data).record.licensors == record.licensors


def test_values_that_make_no_sense_are_named_not_hidden(tmp_path: Path) -> None:
    data = rights.write_rights(plain_jpeg(), RightsRecord(title="T"))
    data = edited(data, tmp_path, "-n", "-XMP-plus:LicenseEndDate=2026", "-XMP-plus:MinorModelAgeDisclosure=AG-NEW")
    found = rights.read_rights(data)
    assert found.record.minor_age == "AG-NEW"
    assert found.problems[0] == told(Code.RIGHTS_DATE, field="license_end", value="2026")


def test_old_text_that_is_no_utf8_is_read(tmp_path: Path) -> None:
    """IIM as written before ESC % G was common: Latin-1 bytes without a character set."""
    data = edited(plain_jpeg(), tmp_path, "-charset", "iptc=Latin", "-IPTC:By-line=Zoë Ångström")
    assert b"Zo\xeb" in data
    assert rights.read_rights(data).record.creators == ("Zoë Ångström",)


def test_every_text_of_the_reference_picture_is_shown() -> None:
    """Of each field of the standard that the picture fills; codes in their own words, whole dates as a day."""
    reading = rights.read_rights(reference().read_bytes())
    shown = " ".join(rights_sentences(reading))
    for key, texts in engine.read(reference().read_bytes()).xmp.items():
        for text in texts:
            if (
                text == 'type="Struct"'
                or key == "Xmp.photoshop.DateCreated"
                or "/vocab/" in text
                or "newscodes" in text
            ):
                continue
            assert " ".join(text.split()) in shown, key
    assert "Property Release Status: http://ns.useplus.org/ldf/vocab/PR-NAP" in shown
    assert "Location Shown in the Image 2, City: City (Location shown2) (ref2023.2)" in shown
    supplier = "Supplied by Image Supplier Name (ref2023.2) (identifier Image Supplier Id (ref2023.2))."
    assert supplier in shown
    assert len([line for line in reading.further if line[0].startswith("Licensor 2, ")]) == 9


def test_names_of_further_fields_are_the_standards() -> None:
    tables = technical()
    published = {one["XMPid"]: one["name"] for one in tables["ipmd_top"].values()}
    assert {
        **{xmp: " ".join(published[xmp].split()) for xmp in names.FIELDS if xmp in published},
        "plus:ImageCreatorImageID": "Image Creator Image ID",
    } == names.FIELDS
    ours = {spec.xmp for spec in fields.TEXT_FIELDS} | {*fields.PARTY_FIELDS.values(), fields.CAPTURED}
    assert set(published) == (set(names.FIELDS) - {"plus:ImageCreatorImageID"}) | (ours & set(published))
    parts: dict[str, set[str]] = {}
    for structure in tables["ipmd_struct"].values():
        for one in structure.values() if isinstance(structure, dict) else ():
            if isinstance(one, dict) and one.get("XMPid"):
                parts.setdefault(one["XMPid"], set()).add(one["name"])
    assert set(names.PARTS) == set(parts)
    assert all(name in parts[xmp] for xmp, name in names.PARTS.items())
    numbers = {one["IIMid"]: one["XMPid"] for one in tables["ipmd_top"].values() if one.get("IIMid")}
    for key, xmp in names.IIM.items():
        assert numbers[f"2:{exiv2.IptcKey(key).tag():02d}"] == xmp


def test_iim_is_asked_only_where_xmp_is_silent() -> None:
    iim = {"Iptc.Application2.Keywords": ("coat", "harbour"), "Iptc.Application2.City": ("Vell",)}
    raw = engine.RawMetadata({}, iim, {"Xmp.photoshop.City": ("Vell-on-Sea",), "Xmp.other.Thing": ("x",)})
    assert further(raw) == (("City (legacy)", ("Vell-on-Sea",)), ("Keywords", ("coat", "harbour")))
