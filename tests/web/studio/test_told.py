"""What the worker found is kept by code and values, and each photographer reads it in their own language."""

from __future__ import annotations

import json

import pytest
from django.test import Client
from django.urls import reverse

from galleries.imaging.codes import Code
from galleries.models import Job, Refusal, StrayRetouch, Version
from galleries.sorting.codes import Code as Sorting
from galleries.told import told
from galleries.words.steps import Code as Steps
from tests.cast import Cast

pytestmark = pytest.mark.django_db


def _read(cast: Cast, client: Client, page: str, language: str) -> str:
    at = reverse(page, args=[cast.sitting.slug])
    return client.get(at, headers={"Accept-Language": language}).content.decode()


def test_a_refused_file_in_two_languages_and_an_older_row_as_it_stands(cast: Cast, client: Client) -> None:
    large = told(Code.TOO_MANY_BYTES, size_bytes=1234567, most_bytes=1000000)
    Refusal.objects.create(sitting=cast.sitting, name="a.jpg", reason=large.as_text(500))
    Refusal.objects.create(sitting=cast.sitting, name="b.jpg", reason="This file is a riddle.")
    german, english = (_read(cast, client, "studio-upload", language) for language in ("de", "en"))
    assert "Diese Datei hat 1.234.567 Bytes; höchstens 1.000.000 werden angenommen." in german
    assert "This file has 1,234,567 bytes; at most 1,000,000 are accepted." in english
    assert "This file is a riddle." in german
    assert "too_many_bytes" not in german + english


def test_failed_work_in_spanish(cast: Cast, client: Client) -> None:
    why = told(Code.JPEG_CUT_OFF).named("KAL_0412.JPG")
    Job.objects.create(sitting=cast.sitting, kind="proof", thing=1, state=Job.State.FAILED, reason=why.as_text(500))
    page = _read(cast, client, "studio-work", "es")
    assert "KAL_0412.JPG: Este JPEG está cortado: los datos terminan antes de la última línea." in page


def test_why_a_look_begins_in_german(cast: Cast, client: Client) -> None:
    why = told(Sorting.WARDROBE_CHANGES, was_colour="dark_blue", now_colour="red")
    look = cast.look("Look 1", proposed_reason=why.as_text(1000))
    cast.frame(1, look)
    answer = json.loads(_read(cast, client, "studio-desk-data", "de"))
    assert [one["reason"] for one in answer["looks"]] == ["Garderobe wechselt von Dunkelblau zu Rot."]


def test_a_name_in_what_is_told_is_text_and_no_markup(cast: Cast, client: Client) -> None:
    why = told(Steps.NAMED_BUT_UNLIKE, frame="<script>alert(1)</script>")
    stray = StrayRetouch.objects.create(
        sitting=cast.sitting, sha256="0" * 64, key="k", name="n.jpg", bytes=1, reason=why.as_text(300)
    )
    assert "<script>" in stray.why
    Refusal.objects.create(sitting=cast.sitting, name="n.jpg", reason=why.as_text(500))
    assert "<script>alert" not in _read(cast, client, "studio-upload", "en")


def test_a_caution_is_read_in_the_language_of_whoever_reads_it() -> None:
    version = Version(geometry_caution=told(Code.SHAPE_CHANGED, eyes_percent=-7).as_text(600))
    assert version.caution.startswith("Against the frame the eyes are 7 % smaller.")
    assert Version(geometry_caution="").caution == ""
    assert Version(geometry_caution="The eyes grew.").caution == "The eyes grew."
