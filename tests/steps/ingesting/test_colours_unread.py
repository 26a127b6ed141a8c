"""Colours that a file names and that cannot be used are read as sRGB, and somebody is told: what is read wrong
without a word is delivered wrong.

Chunk layout after Portable Network Graphics, third edition (W3C), 11.3.2.6 [std, from memory].
"""

from __future__ import annotations

import io
import struct
import zlib
from pathlib import Path

import pytest
from django.core.management import call_command
from django.test import Client
from django.urls import reverse
from django.utils import translation
from PIL import Image

from galleries.models import Frame
from galleries.steps.finishing import versions
from galleries.steps.ingesting import ingest
from galleries.words.told import sentence
from tests.cast import Cast, make_cast

pytestmark = pytest.mark.django_db
SENTENCE = "The colours that the file names are not used; it is read as sRGB."
WHY = "This PNG names its colours in a way that is not read here (wide or high dynamic range)."


def png(numbers: bytes = b"") -> bytes:
    """A picture whose cICP chunk holds these numbers."""
    out = io.BytesIO()
    Image.linear_gradient("L").resize((300, 450)).convert("RGB").save(out, "PNG")
    data = out.getvalue()
    if not numbers:
        return data
    chunk = b"cICP" + numbers
    return data[:33] + struct.pack(">I", 4) + chunk + struct.pack(">I", zlib.crc32(chunk)) + data[33:]


HIGH_RANGE = png(bytes([9, 16, 0, 1]))  # BT.2020 primaries, PQ


@pytest.fixture
def cast() -> Cast:
    return make_cast(stage="planning")


def card_of(folder: Path, **files: bytes) -> Path:
    for name, data in files.items():
        (folder / f"{name}.png").write_bytes(data)
    return folder


def test_the_outcome_the_frame_and_the_desk_tell_it(cast: Cast, client: Client, tmp_path: Path) -> None:
    card = card_of(tmp_path, KAL_0001=png(), KAL_0002=HIGH_RANGE)
    outcomes = {one.name: one.reason for one in ingest.add_folder(cast.sitting, card, cast.as_owner)}
    assert outcomes == {"KAL_0001.png": "", "KAL_0002.png": f"{SENTENCE} {WHY}"}
    assert Frame.objects.get(name="KAL_0001.png").profile_unread == ""
    client.force_login(cast.owner)
    data = client.get(reverse("studio-desk-data", args=[cast.sitting.slug])).json()
    notes = {row["name"]: row["note"] for row in data["frames"]}
    assert f"{SENTENCE} {WHY}" in notes["KAL_0002.png"]
    assert "sRGB" not in notes["KAL_0001.png"]
    unread = ingest.colours_told(Frame.objects.get(name="KAL_0002.png").profile_unread)
    with translation.override("de"):
        assert unread is not None
        assert "als sRGB gelesen" in sentence(unread)


def test_the_browser_that_brought_it_is_told(cast: Cast, client: Client) -> None:
    client.force_login(cast.owner)
    answer = client.put(
        reverse("studio-upload-file", args=[cast.sitting.slug]),
        HIGH_RANGE,
        content_type="application/octet-stream",
        headers={"X-File-Name": "KAL_0003.png"},
    )
    assert answer.json()["reason"] == f"{SENTENCE} {WHY}"


def test_the_commands_tell_it(cast: Cast, tmp_path: Path) -> None:
    card = card_of(tmp_path, KAL_0002=HIGH_RANGE)
    out = io.StringIO()
    call_command("ingest", str(card), "--sitting", cast.sitting.slug, stdout=out, stderr=out)
    assert f"new, but see: KAL_0002.png: {SENTENCE} {WHY}" in out.getvalue()
    out = io.StringIO()
    call_command("frame-report", str(card / "KAL_0002.png"), stdout=out, stderr=out)
    assert f"read as sRGB: {WHY}" in out.getvalue()


def test_a_version_whose_colours_cannot_be_read_is_refused(cast: Cast, tmp_path: Path) -> None:
    cast.sitting.stage = "finishing"
    cast.sitting.save()
    path = tmp_path / "KAL_0001_v1.png"
    path.write_bytes(HIGH_RANGE)
    outcome = versions.add_retouch(cast.sitting, path, path.name, cast.as_owner)
    assert (outcome.kind, outcome.reason.endswith(WHY)) == ("refused", True)
