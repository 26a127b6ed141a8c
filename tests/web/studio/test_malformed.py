"""A hundred small files whose metadata or container lie, through upload, proof with its reading, and rights.

What is checked is the same for each: a frame with the very bytes that were sent, or a sentence; nothing in between.
The classes of fault and their sources stand in `tests/malformed.py`.
"""

from __future__ import annotations

import logging
from urllib.parse import quote

import pytest
from django.test import Client
from django.urls import reverse

from galleries import storage
from galleries.imaging.codes import Code
from galleries.imaging.contained import door
from galleries.imaging.errors import ImagingError
from galleries.models import Frame, Job, Refusal
from galleries.steps import jobs
from tests import malformed
from tests.cast import Cast, make_cast
from tests.telling import sentence_of

FILES = malformed.files()
# The child came to its end by itself and knew what it met: none of these, which are for what nobody foresaw.
UNFORESEEN = {Code.DECODER_STOPPED, Code.TOOK_TOO_LONG, Code.NO_SOUND_ANSWER, Code.DAMAGED_UNFORESEEN}


@pytest.fixture
def cast() -> Cast:
    return make_cast(stage="planning")


def put(client: Client, cast: Cast, name: str, data: bytes) -> dict[str, object]:
    headers = {"X-File-Name": quote(name), "Accept": "application/json"}
    at = reverse("studio-upload-file", args=[cast.sitting.slug])
    answer = client.put(at, data, content_type="application/octet-stream", headers=headers)
    assert answer.status_code in (201, 200), f"{name}: {answer.status_code}"
    return dict(answer.json())


@pytest.mark.django_db
@pytest.mark.timeout(300)
def test_each_becomes_a_frame_or_gets_its_sentence_and_none_is_lost(
    cast: Cast, caplog: pytest.LogCaptureFixture
) -> None:
    client = cast.client_of(cast.owner)
    with caplog.at_level(logging.ERROR):
        told = {name: put(client, cast, name, data) for name, data in FILES.items()}
        jobs.run_waiting(cast.sitting, ["proof"])
    assert not [record.getMessage() for record in caplog.records if record.levelno >= logging.ERROR]
    frames = {frame.name: frame for frame in Frame.objects.all()}
    refusals = {refusal.name: refusal for refusal in Refusal.objects.all()}
    assert frames.keys().isdisjoint(refusals)
    assert {*frames, *refusals} == set(FILES)
    for name, frame in frames.items():
        assert told[name]["state"] == "new"
        assert storage.get(storage.private(), frame.key) == FILES[name], f"{name}: other bytes are kept than were sent"
    for name, refusal in refusals.items():
        assert told[name]["state"] == "refused"
        assert refusal.why.endswith("."), name
        assert not any(code.value in refusal.reason for code in UNFORESEEN), name
    unread = Frame.objects.filter(reading_version=0) | Frame.objects.filter(proofs=None)
    assert [frame.name for frame in unread] == [], list(
        Job.objects.exclude(state="done").values_list("reason", flat=True)
    )
    lost = [name for name in refusals if name.startswith(malformed.BESIDE)]
    assert not lost, "their pixels are sound, and what lies stands beside them"


@pytest.mark.parametrize("kind", ["EXIF", "XMP", "IIM", "ICC", "PNG", "TIFF", "HEIF", "JPEG"])
def test_its_rights_are_read_or_a_sentence_says_why_not(kind: str) -> None:
    refused: dict[str, ImagingError] = {}
    for name, data in FILES.items():
        if name.startswith(kind):
            try:
                door.read_rights(data)
            except ImagingError as error:
                refused[name] = error
    assert not [name for name, error in refused.items() if error.told.code in UNFORESEEN]
    assert not [name for name, error in refused.items() if not sentence_of(error).endswith(".")]
