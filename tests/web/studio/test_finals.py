"""Retouches come in and find their finals; strays are settled; briefs, notes, crops, deliveries in the studio."""

from __future__ import annotations

import hashlib
import io
import re
from datetime import date, timedelta
from types import SimpleNamespace
from typing import Any
from urllib.parse import quote

import pytest
from django.contrib.auth.hashers import check_password, make_password
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from django.utils.html import escape
from PIL import Image

from galleries.imaging.comparing.amounts import Changes
from galleries.models import (
    Crop,
    DeliveredFile,
    Delivery,
    DeliverySize,
    Final,
    Frame,
    PinnedNote,
    Sitting,
    UsageRequest,
    Version,
)
from galleries.papers.licence_fields import ALTERATIONS
from galleries.steps import jobs
from galleries.steps.delivering import cut, licences, sizes, usage
from galleries.steps.finishing import notes
from galleries.web import use_words
from tests import outside
from tests.cast import LANGUAGE, Cast, make_cast
from tests.painted import finals_of, retouched_file

pytestmark = pytest.mark.django_db


@pytest.fixture
def finals(cast: Cast) -> list[Final]:
    sizes.load()
    return finals_of(cast)


def at(cast: Cast, name: str, *more: object) -> str:
    return reverse(name, args=[cast.sitting.slug, *more])


def put(client: Client, cast: Cast, name: str, data: bytes) -> Any:
    headers = {"X-File-Name": quote(name), "Accept": "application/json"}
    return client.put(at(cast, "studio-retouch-file"), data, content_type="application/octet-stream", headers=headers)


def test_a_retouch_finds_its_final_and_is_not_asked_for_twice(cast: Cast, client: Client, finals: list[Final]) -> None:
    data = retouched_file(0)
    answer = put(client, cast, f"{finals[0].frame.stem}_v1.jpg", data)
    assert answer.json()["state"] == "new", answer.json()
    digest = hashlib.sha256(data).hexdigest()
    asked = client.post(
        at(cast, "studio-retouch-known"), {"digests": [digest, "0" * 64]}, content_type="application/json"
    )
    assert asked.json() == {"known": [digest]}
    assert put(client, cast, "again.jpg", data).json()["state"] == "same"
    version = finals[0].versions.get()
    assert client.get(at(cast, "studio-version-picture", version.pk)).status_code == 404  # still being made
    jobs.run_waiting(cast.sitting, kinds=["version"])
    shown = client.get(at(cast, "studio-version-picture", version.pk))
    assert shown.headers["Content-Type"] == "image/jpeg"
    given = client.get(at(cast, "studio-version-file", version.pk))
    assert b"".join(given) == data  # type: ignore[arg-type]
    assert "version 1" in client.get(at(cast, "studio-finals")).content.decode()


def test_a_file_that_fits_none_waits_for_a_choice(cast: Cast, client: Client, finals: list[Final]) -> None:
    out = io.BytesIO()
    Image.effect_noise((400, 500), 90).convert("RGB").save(out, "JPEG")
    assert put(client, cast, "holiday.jpg", out.getvalue()).json()["state"] == "stray"
    stray = cast.sitting.strays.get()
    page = client.get(at(cast, "studio-finals")).content.decode()
    part = page[page.index('id="strays"') : page.index('class="finals-grid"')]
    assert at(cast, "studio-stray-picture", stray.pk) in part  # the file itself, unstamped, beside the frames
    assert part.count('name="final"') == len(finals)
    assert "checked" not in part  # the choice is the person's
    assert "selected" not in part
    assert client.get(at(cast, "studio-stray-picture", stray.pk)).headers["Content-Type"] == "image/jpeg"
    assert "holiday.jpg" in client.get(at(cast, "studio-finals")).content.decode()
    assert client.post(at(cast, "studio-stray-settle", stray.pk), {"final": "x"}).status_code == 400
    assert client.post(at(cast, "studio-stray-settle", stray.pk), {"final": 999}).status_code == 404
    client.post(at(cast, "studio-stray-settle", stray.pk), {"final": finals[1].pk})
    assert finals[1].versions.get().how_found.startswith("chosen by")
    put(client, cast, "other.jpg", out.getvalue() + b"\0")
    client.post(at(cast, "studio-stray-drop", cast.sitting.strays.get().pk))
    assert not cast.sitting.strays.exists()


def test_retouches_wait_for_the_closed_list(cast: Cast, client: Client) -> None:
    assert put(client, cast, "x.jpg", b"x").status_code == 403
    assert put(client, cast, "", b"x").status_code == 400


def test_brief_description_notes_and_as_it_is(cast: Cast, client: Client, finals: list[Final]) -> None:
    final = finals[0]
    client.post(at(cast, "studio-brief", final.pk), {"brief": "Calm the flyaways", "alt_text": "A person smiles"})
    final.refresh_from_db()
    assert (final.brief, final.alt_text) == ("Calm the flyaways", "A person smiles")
    assert client.post(at(cast, "studio-brief", final.pk), {"alt_text": "x" * 251}).status_code == 400
    note = notes.pin_note(final, cast.as_subject, 0.4, 0.3, text="the collar")
    client.post(at(cast, "studio-note-done", note.pk), {"done": "1"})
    assert PinnedNote.objects.get().done
    client.post(at(cast, "studio-note-done", note.pk), {"done": "0"})
    assert not PinnedNote.objects.get().done
    assert client.post(at(cast, "studio-as-it-is", final.pk)).status_code == 302
    final.refresh_from_db()
    assert final.state == "as_it_is"
    assert client.post(at(cast, "studio-as-it-is", final.pk)).status_code == 409


def _versions(finals: list[Final], **more: object) -> list[Version]:
    return [
        final.versions.create(
            number=1, sha256=str(number) * 64, key=f"k{number}", name="n.jpg", bytes=1, width=800, height=1200, **more
        )
        for number, final in enumerate(finals)
    ]


def test_one_act_on_several_finals_is_done_whole_and_undone(cast: Cast, client: Client, finals: list[Final]) -> None:
    where, ids = at(cast, "studio-finals-act"), [final.pk for final in finals]

    def states() -> list[str]:
        return [final.state for final in cast.sitting.finals.order_by("pk")]

    before = states()
    for bad in ({"do": "undo"}, {"do": "dance", "final": ids}, {"do": "made", "kind": "humanEdits", "final": ids}):
        assert client.post(where, bad).status_code == 400, bad
    assert client.post(where, {"do": "as-it-is", "final": ids}).status_code == 302
    assert states() == ["as_it_is"] * len(ids)
    assert client.post(where, {"do": "undo", "final": ids}).status_code == 302
    assert states() == before
    Final.objects.filter(pk=ids[1]).update(state="approved")
    answer = client.post(where, {"do": "as-it-is", "final": ids})
    assert answer.status_code == 409
    assert finals[1].frame.label in answer.content.decode()
    assert states() == ["agreed", "approved"], "nothing of it is done by half"
    other = make_cast("other-sitting")
    elsewhere = other.client_of(other.owner).post(at(other, "studio-finals-act"), {"do": "undo", "final": ids})
    assert elsewhere.status_code == 400
    assert cast.client_of(cast.subject).post(where, {"do": "as-it-is", "final": ids}).status_code == 302  # to the door
    assert states() == ["agreed", "approved"]


def test_how_the_retouches_were_made_is_said_once_for_all(cast: Cast, client: Client, finals: list[Final]) -> None:
    _versions(finals)
    chosen = [final.pk for final in finals]
    said_of = {"do": "made", "kind": "algorithmicallyEnhanced", "final": chosen}
    assert client.post(at(cast, "studio-finals-act"), said_of).status_code == 302
    assert {(one.kind, one.kind_stated) for one in Version.objects.all()} == {("algorithmicallyEnhanced", "person")}
    assert client.post(at(cast, "studio-finals-act"), {**said_of, "kind": "magic"}).status_code == 400


def test_a_final_says_whom_it_waits_for(cast: Cast, client: Client, finals: list[Final]) -> None:
    first, second = finals
    (version,) = _versions([first])

    def waits() -> list[str]:
        return [row["waits"] for row in client.get(at(cast, "studio-finals")).context["rows"]]

    assert waits() == ["you: look, then send", "you: retouch it"]
    page = client.get(at(cast, "studio-finals")).content.decode()
    assert page.count("waits for the retouch") == 1  # of the second alone: the first has one
    Version.objects.update(sent_at=timezone.now())
    Final.objects.filter(pk=first.pk).update(state="shown")
    Sitting.objects.update(representation_approves=True)
    assert waits()[0] == f"{cast.subject.name}, {cast.representation.name}"
    version.approvals.create(sha256=version.sha256, decision="approved", who="Ansa Veld", invite=cast.subject)
    assert waits()[0] == cast.representation.name
    Final.objects.filter(pk=second.pk).update(state="as_it_is")
    assert waits()[1] == ""


def test_frame_and_versions_are_compared_large_by_the_eyes(cast: Cast, client: Client, finals: list[Final]) -> None:
    face = {"right_eye": [299.5, 399.5], "left_eye": [499.5, 399.5]}
    (version,) = _versions(finals[:1], reading={"width": 800, "height": 1200, "face": face})
    note = notes.pin_note(finals[0], cast.as_subject, 0.4, 0.3, text="the collar")
    page = client.get(at(cast, "studio-final", finals[0].pk))
    taken, retouched = page.context["pictures"]
    assert (taken["id"], retouched["id"]) == ("frame", str(version.pk))
    assert (retouched["w"], retouched["h"], retouched["eyes"], retouched["gap"]) == (800, 1200, [0.5, 0.3333], 0.25)
    assert [1, note.x, note.y] in taken["pins"] + retouched["pins"]
    assert at(cast, "studio-final", finals[1].pk) in page.content.decode(), "the way to the next"
    other = make_cast("other-sitting")
    for name, pk in (("studio-final", finals[0].pk), ("studio-version-view", version.pk)):
        assert other.client_of(other.owner).get(at(other, name, pk)).status_code == 404
        assert cast.client_of(cast.subject).get(at(cast, name, pk)).status_code == 302


def test_what_changed_of_the_face_is_told_and_drawn_on_frame_and_version(
    cast: Cast, client: Client, finals: list[Final]
) -> None:
    read = Changes({"nose": -8.0, "eyes": 0.4}, {"nose": (0.4, 0.5, 0.2, 0.1), "eyes": (0.3, 0.4, 0.4, 0.1)},
                   {"nose": (0.45, 0.55, 0.2, 0.1)}, ("texture", "irises"))  # fmt: skip
    caution = read.caution()
    assert caution is not None
    _versions(finals[:1], changes=read.as_dict(), geometry_caution=caution.as_text(600))
    page = client.get(at(cast, "studio-final", finals[0].pk))
    taken, retouched = page.context["pictures"]
    assert (taken["changed"], retouched["changed"]) == ([(0.4, 0.5, 0.2, 0.1)], [(0.45, 0.55, 0.2, 0.1)])
    assert "the nose is 8 % narrower" in page.content.decode()
    assert "Could not be compared: skin texture and colour of the irises." in page.content.decode()
    Version.objects.update(sent_at=timezone.now(), proof_key="proofs/v1.jpg")
    Final.objects.filter(pk=finals[0].pk).update(state="shown")
    seen = cast.client_of(cast.subject).get(at(cast, "final", finals[0].pk)).content.decode()
    assert 'data-place="0.4 0.5 0.2 0.1"' in seen
    assert "the nose is 8 % narrower" in seen
    assert "dashed boxes" in seen
    Version.objects.update(sent_at=None)
    assert (
        "the nose is 8 % narrower"
        not in cast.client_of(cast.subject).get(at(cast, "final", finals[0].pk)).content.decode()
    ), "nobody invited knows of a version that was not sent"


def test_things_of_another_sitting_are_not_found(cast: Cast, client: Client, finals: list[Final]) -> None:
    other = make_cast("other-sitting")
    theirs = other.client_of(other.owner)
    note = notes.pin_note(finals[0], cast.as_subject, 0.4, 0.3, text="the collar")
    for name, pk in (("studio-brief", finals[0].pk), ("studio-as-it-is", finals[0].pk), ("studio-note-done", note.pk)):
        assert theirs.post(at(other, name, pk)).status_code == 404
    assert theirs.get(at(other, "studio-crops", finals[0].pk)).status_code == 404
    # A photographer of both sittings does not reach one through the address of the other either.
    other.sitting.colleagues.add(cast.owner)
    assert client.get(at(other, "studio-crops", finals[0].pk)).status_code == 404


# --- crops ---


def test_crops_are_proposed_set_taken_over_and_proposed_again(cast: Cast, client: Client, finals: list[Final]) -> None:
    page = client.get(at(cast, "studio-crops", finals[0].pk))
    assert page.status_code == 200
    crops = page.context["data"]["crops"]
    assert not Crop.objects.exists()  # looked at, nothing is written
    assert len({crop["size"] for crop in crops}) == DeliverySize.objects.filter(chosen_first=True, width__gt=0).count()
    proposed = next(crop for crop in crops if crop["size"] == "casting-4x5")
    step = 4
    sent = {
        "do": "set",
        "x": proposed["x"],
        "y": proposed["y"],
        "width": proposed["width"] - 4 * step,
        "height": proposed["height"] - 5 * step,
        "tilt": 0,
    }
    where = proposed["address"]
    answer = client.post(where, sent, content_type="application/json")
    assert answer.status_code == 200, answer.content
    one = Crop.objects.get()
    assert (one.size.slug, one.width, one.by_hand, one.by) == ("casting-4x5", sent["width"], True, "Tamsin")
    page = client.get(at(cast, "studio-crops", finals[0].pk) + "?all=1")
    every = [crop["size"] for crop in page.context["data"]["crops"]]
    assert client.post(where, {"do": "adopt"}, content_type="application/json").status_code == 400
    few = client.post(where, {"do": "adopt", "sizes": every[:0]}, content_type="application/json").json()["crops"]
    assert few == []
    taken = client.post(where, {"do": "adopt", "sizes": every}, content_type="application/json").json()["crops"]
    assert {crop["size"] for crop in taken} == set(Crop.objects.exclude(pk=one.pk).values_list("size__slug", flat=True))
    bleeding = [crop for crop in taken if crop["bleed"]]
    assert bleeding
    assert all(crop["width"] > one.width for crop in bleeding)
    assert {crop["width"] for crop in taken if not crop["bleed"]} == {one.width}
    back = client.post(where, {"do": "propose"}, content_type="application/json").json()["crops"][0]
    assert back["byHand"] is False
    assert back["width"] == sent["width"] + 4 * step


@pytest.mark.parametrize(
    "change",
    [
        {"x": -1},
        {"x": 10**7},
        {"height": 1},
        {"tilt": 40},
        {"width": "wide"},
        {"x": None},
        {"x": float("inf")},
        {"do": "dance"},
    ],
)
def test_a_crop_that_cannot_be_is_refused_with_a_sentence(
    cast: Cast, client: Client, finals: list[Final], change: dict[str, object]
) -> None:
    (one,) = cut.propose(finals[0], [DeliverySize.objects.get(slug="casting-4x5")])
    sent = {"do": "set", "x": one.x, "y": one.y, "width": one.width, "height": one.height, "tilt": 0, **change}
    answer = client.post(
        at(cast, "studio-crop-set", finals[0].pk, "casting-4x5"),
        sent,
        content_type="application/json",
        headers={"Accept": "application/json"},
    )
    assert answer.status_code == 400
    assert answer.json()["error"].endswith((".", "”"))
    before = (one.x, one.y, one.width, one.height)
    one.refresh_from_db()
    assert (one.x, one.y, one.width, one.height) == before


def test_pictures_of_the_editor_are_pictures(cast: Cast, client: Client, finals: list[Final]) -> None:
    preview = at(cast, "studio-crop-preview", finals[0].pk, "casting-4x5")
    for where in (
        at(cast, "studio-crop-source", finals[0].pk),
        preview,
        at(cast, "studio-crop-sheet"),
        at(cast, "studio-eyes", finals[0].frame_id),
    ):
        answer = client.get(where)
        assert answer.headers["Content-Type"] == "image/jpeg", where
        with Image.open(io.BytesIO(b"".join(answer))) as picture:
            picture.load()
    shown = Image.open(io.BytesIO(client.get(preview).content))
    assert abs(shown.width / shown.height - 0.8) < 0.01
    assert client.get(at(cast, "studio-crop-preview", finals[0].pk, "no-such-size")).status_code == 404
    assert not Crop.objects.exists()


# --- delivery ---


def licence_form(**other: object) -> dict[str, object]:
    return {
        "uses": ["casting", "website"],
        "alterations": ["crop"],
        "territory": "worldwide",
        "starts": "2026-03-04",
        "model_release": "MR-NON",
        "data_mining": "DMI-PROHIBITED",
        **other,
    }


@pytest.mark.parametrize(
    ("language", "words"), [("en", "turning into black and white"), ("de", "In Schwarzweiß umwandeln"),
                            ("es", "pasar a blanco y negro")],
)  # fmt: skip
def test_the_changes_a_licence_may_allow_stand_in_the_readers_language(
    cast: Cast, client: Client, language: str, words: str
) -> None:
    client.cookies[LANGUAGE] = language
    choices = client.get(at(cast, "studio-licence")).content.decode()
    boxes = re.findall(r'name="alterations"[^>]*>\s*<span>([^<]+)', choices)
    assert len(boxes) == 6
    assert words in [one.strip() for one in boxes]
    assert len({*boxes} & {words for words, _code in ALTERATIONS.values()}) == (6 if language == "en" else 0)


@pytest.mark.parametrize("language", ["en", "de", "es"])
def test_the_wording_is_told_to_be_english_wherever_it_is_read(cast: Cast, client: Client, language: str) -> None:
    """WCAG 2.2, 3.1.2: else a voice reads English by the rules of the page's language."""
    licences.compose(cast.sitting, licences.draft(cast.sitting), cast.as_owner)
    client.cookies[LANGUAGE] = language
    for name in ("studio-licence", "studio-delivery"):
        page = client.get(at(cast, name)).content.decode()
        wording = page[: page.index("licenses Ansa Veld to use")].rpartition("<ul")[2]
        assert 'lang="en"' in wording.partition(">")[0], name
        assert ("Lizenz steht in jeder Sprache" in page) == (language == "de")


def test_the_licence_is_read_back_before_it_is_written(cast: Cast, client: Client, finals: list[Final]) -> None:
    where = at(cast, "studio-licence")
    page = client.post(where, {**licence_form(uses=[]), "read": "1"}).content.decode()
    assert "The licence allows no use at all" in page
    page = client.post(where, {**licence_form(ends="2027-03-03"), "read": "1"}).content.decode()
    assert "until 3 March 2027" in page
    assert not cast.sitting.licences.exists()
    assert client.post(where, {**licence_form(uses=[]), "write": "1"}).status_code == 400
    assert client.post(where, {**licence_form(starts="soon"), "write": "1"}).status_code == 400
    assert client.post(where, {**licence_form(), "write": "1"}).status_code == 302
    written = licences.current(cast.sitting)
    assert written is not None
    assert licences.terms_of(written).uses == ("casting", "website")


def hidden(page: str) -> dict[str, str]:
    """The hidden fields of the form that asks again."""
    return dict(re.findall(r'<input\s+type="hidden"\s+name="(\w+)"\s+value="([^"]*)"', page.split("<main")[1]))


def agreed(answer: Any) -> str:
    assert "Deliver with too few pixels?" in answer.content.decode()
    return hidden(answer.content.decode())["few_pixels"]


def test_a_delivery_from_the_page_to_the_archive(cast: Cast, client: Client, finals: list[Final]) -> None:
    small = DeliverySize.objects.get(slug="casting-square")
    form = {"size": [small.pk], "days": "30", "passcode": "open sesame"}
    assert client.post(at(cast, "studio-prepare"), form).status_code == 400  # no licence
    client.post(at(cast, "studio-licence"), {**licence_form(), "write": "1"})
    assert client.post(at(cast, "studio-prepare"), form).status_code == 400  # finals not ready
    for final in finals:
        client.post(at(cast, "studio-as-it-is", final.pk))
    assert client.post(at(cast, "studio-prepare"), {"size": []}).status_code == 400
    for days in ("0", "99999999999", "soon", "-1"):
        assert client.post(at(cast, "studio-prepare"), {**form, "days": days}).status_code == 400
    assert client.post(at(cast, "studio-prepare"), {**form, "size": [10**30]}).status_code == 400
    form["few_pixels"] = agreed(client.post(at(cast, "studio-prepare"), form))  # the painted frames are small
    assert client.post(at(cast, "studio-prepare"), form).status_code == 302
    made = Delivery.objects.get()
    progress = at(cast, "studio-delivery-progress", made.pk)
    assert client.get(progress).json() == {"state": "waiting", "words": "being made", "done": 0, "of": 2, "problem": ""}
    assert client.get(at(cast, "studio-archive", made.pk)).status_code == 404
    jobs.run_waiting(cast.sitting, kinds=["delivery"])
    assert client.get(progress).json()["state"] == "ready"
    archive = client.get(at(cast, "studio-archive", made.pk), headers={"Range": "bytes=0-3"})
    assert (archive.status_code, b"".join(archive)) == (206, b"PK\x03\x04")  # type: ignore[arg-type]
    file = made.files.filter(size_slug="casting-square").first()
    assert file is not None
    shown = client.get(at(cast, "studio-delivered-file", file.pk))
    assert shown.headers["Content-Type"] == "image/jpeg"
    assert file.name in client.get(at(cast, "studio-delivery")).content.decode()
    change = at(cast, "studio-delivery-change", made.pk)
    client.post(change, {"do": "withdraw"})
    made.refresh_from_db()
    assert made.state == "withdrawn"
    client.post(change, {"do": "offer", "days": "5"})
    made.refresh_from_db()
    assert made.state == "ready"
    assert client.post(change, {"do": "burn"}).status_code == 400


def test_requests_for_use_are_granted_or_refused_once(
    cast: Cast, client: Client, finals: list[Final], monkeypatch: pytest.MonkeyPatch
) -> None:
    client.post(at(cast, "studio-licence"), {**licence_form(), "write": "1"})
    Sitting.objects.filter(pk=cast.sitting.pk).update(stage="delivered")
    cast.sitting.refresh_from_db()
    poster = usage.ask(cast.sitting, cast.as_subject, "poster", "a tour in spring")
    mug = usage.ask(cast.sitting, cast.as_subject, "a mug", "")
    page = client.get(at(cast, "studio-usage")).content.decode()
    assert "a tour in spring" in page
    chosen = re.findall(r'<option value="(\w*)" selected', page)
    assert chosen == ["", "poster"], "what was asked in own words is granted as nothing that nobody chose"
    answer = at(cast, "studio-usage-answer", poster.pk)
    assert client.post(answer, {"do": "grant", "until": "never"}).status_code == 400
    granted = {"do": "grant", "uses": ["poster", "press"], "until": "2999-01-31", "note": "In May only"}
    assert client.post(answer, granted).status_code == 302
    page = client.get(at(cast, "studio-usage")).content.decode()
    theirs = cast.client_of(cast.subject).get(at(cast, "delivery")).content.decode()
    for shown in (page, theirs):  # a form's choices name uses too
        words = " ".join(shown.split("Allowed now</b>:")[1].split("</span>")[0].split())
        assert "posters and paid publicity of a production; press about the subject" in words
        assert "until 31 January 2999; In May only" in words
        assert "licence 2" in words
    with monkeypatch.context() as later:
        later.setattr(use_words, "timezone", SimpleNamespace(localdate=lambda: date(2999, 2, 1)))
        page = client.get(at(cast, "studio-usage")).content.decode()
        theirs = cast.client_of(cast.subject).get(at(cast, "delivery")).content.decode()
    for shown in (page, theirs):
        assert "Was allowed</b>:" in shown
        assert "Allowed now" not in shown
    assert client.post(answer, {"do": "grant", "uses": "poster"}).status_code == 409
    refusal = at(cast, "studio-usage-answer", mug.pk)
    assert client.post(refusal, {"do": "refuse", "answer": ""}).status_code == 400
    assert client.post(refusal, {"do": "refuse", "answer": "Not on goods."}).status_code == 302
    assert set(UsageRequest.objects.values_list("state", flat=True)) == {"granted", "refused"}
    assert client.post(at(cast, "studio-usage-answer", 999), {"do": "grant"}).status_code == 404


def test_the_labs_profile_is_given_seen_on_paper_and_taken_back(
    cast: Cast, client: Client, finals: list[Final]
) -> None:
    from urllib.parse import unquote

    from django.core.files.uploadedfile import SimpleUploadedFile

    where = at(cast, "studio-lab-profile")
    assert client.post(where).status_code == 400
    assert client.post(where, {"profile": SimpleUploadedFile("x.icc", b"no profile")}).status_code == 400
    adobe = outside.profile("colord/AdobeRGB1998.icc")
    paper = at(cast, "studio-crop-paper", finals[0].pk, "print-8x10")
    assert client.get(paper).status_code == 400
    client.post(where, {"profile": SimpleUploadedFile("lab.icc", adobe)})
    cast.sitting.refresh_from_db()
    assert "Adobe" in cast.sitting.print_profile_name
    shown = client.get(paper)
    assert Image.open(io.BytesIO(shown.content)).format == "JPEG"
    assert unquote(shown.headers["X-Caution"]) == ""
    client.post(where, {"do": "back"})
    cast.sitting.refresh_from_db()
    assert cast.sitting.print_profile_name == ""


def test_too_few_pixels_are_said_and_asked_about_before_a_delivery(
    cast: Cast, client: Client, finals: list[Final]
) -> None:
    print_ = DeliverySize.objects.get(slug="print-8x10")
    client.post(at(cast, "studio-licence"), {**licence_form(), "write": "1"})
    for final in finals:
        client.post(at(cast, "studio-as-it-is", final.pk))
    Frame.objects.filter(pk=finals[0].frame_id).update(width=800, height=1200)
    Frame.objects.filter(pk=finals[1].frame_id).update(width=4000, height=6000)
    page = client.get(at(cast, "studio-delivery")).content.decode()
    assert "Too few pixels for some sizes" in page
    form = {"size": [print_.pk], "days": "30", "passcode": "open sesame", "partial": "1"}
    asked = client.post(at(cast, "studio-prepare"), form)
    words = asked.content.decode()
    assert asked.status_code == 200
    assert "Deliver with too few pixels?" in words
    assert finals[0].frame.label in words
    assert not Delivery.objects.exists()
    kept = hidden(words)
    assert kept["passcode"] == "open sesame"
    assert (kept["days"], kept["partial"], kept["size"]) == ("30", "1", str(print_.pk))
    # What was agreed to was another shortage: asked anew.
    assert client.post(at(cast, "studio-prepare"), {**kept, "few_pixels": "1"}).status_code == 200
    assert client.post(at(cast, "studio-prepare"), kept).status_code == 302
    assert check_password("open sesame", Delivery.objects.get().passcode_hash)


def test_a_small_retouch_says_so_where_it_came_in(cast: Cast, client: Client, finals: list[Final]) -> None:
    """800 × 1200 pixels on 8 × 10 inches are 100 ppi, by arithmetic."""
    version = Version.objects.create(
        final=finals[0], number=1, sha256="a" * 64, key="k", name="a_v1.jpg", bytes=1, width=800, height=1200
    )
    for name in ("studio-finals", "studio-send-retouches"):
        page = " ".join(client.get(at(cast, name)).content.decode().split())
        assert "Version 1 has too few pixels" in page, name
        assert "Headshot print 8×10 in (100 of 240 ppi)" in page, name
    Version.objects.filter(pk=version.pk).update(width=4000, height=6000)
    assert "too few pixels" not in client.get(at(cast, "studio-finals")).content.decode()


def test_cautions_of_delivered_files_are_sentences(cast: Cast, client: Client, finals: list[Final]) -> None:
    client.post(at(cast, "studio-licence"), {**licence_form(), "write": "1"})
    delivery = Delivery.objects.create(
        sitting=cast.sitting, number=1, licence=cast.sitting.licences.get(), sizes={}, state="ready"
    )
    DeliveredFile.objects.create(
        delivery=delivery, final=finals[0], size_slug="casting-square", name="a.jpg", key="k", sha256="a" * 64, bytes=1,
        warnings=[{"code": "crop.chin_cut"}],
    )  # fmt: skip
    page = client.get(at(cast, "studio-delivery")).content.decode()
    assert "chin" in page
    assert "crop.chin_cut" not in page


def test_the_crops_of_the_chosen_sizes_stand_in_the_page_with_their_warnings(
    cast: Cast, client: Client, finals: list[Final]
) -> None:
    size, where = DeliverySize.objects.get(slug="print-8x10"), at(cast, "studio-delivery")
    page = client.post(where, {"size": [size.pk], "passcode": "open sesame", "days": "7"})
    shown = page.content.decode()
    assert page.status_code == 200
    for final in finals:
        assert at(cast, "studio-crop-preview", final.pk, size.slug) in shown
    warned = [word for _final, cells in page.context["preview"] for cell in cells for word in cell["warnings"]]
    assert warned, "the painted frames are too small for this print"
    assert all(escape(word) in shown for word in warned)
    assert page.context["as_before"]["slugs"] == {size.slug}
    assert "open sesame" not in shown
    assert not Delivery.objects.exists()
    assert not cast.sitting.journal.filter(verb__startswith="delivery").exists()
    assert client.post(where, {"size": []}).status_code == 400
    assert 'id="crops"' in shown
    assert 'id="crops"' not in client.get(where).content.decode()
    assert cast.client_of(cast.recipient).post(where, {"size": [size.pk]}).status_code == 302


def test_the_preview_sheet_takes_its_sizes_from_the_body(cast: Cast, client: Client, finals: list[Final]) -> None:
    small = DeliverySize.objects.get(slug="casting-square")
    sheet = at(cast, "studio-crop-sheet")
    by_post = client.post(sheet, {"size": [small.pk], "passcode": "open sesame"})
    assert by_post.headers["Content-Type"] == "image/jpeg"
    assert by_post.content == client.get(sheet, {"size": [small.pk]}).content
    assert by_post.content != client.get(sheet).content


def test_the_second_delivery_starts_from_what_the_first_had(cast: Cast, client: Client, finals: list[Final]) -> None:
    client.post(at(cast, "studio-licence"), {**licence_form(), "write": "1"})
    square = DeliverySize.objects.get(slug="casting-square")

    def form() -> tuple[set[str], str, bool]:
        page = client.get(at(cast, "studio-delivery")).content.decode()
        boxes = re.findall(r'<input\s+type="checkbox"\s+name="size"\s+value="(\d+)"\s+checked', page)
        days = re.search(r'name="days"[^>]*value="(\d*)"', page)
        assert days is not None
        return set(boxes), days[1], 'name="passcode_as_before"' in page

    first = {str(size.pk) for size in sizes.offered() if size.chosen_first}
    assert form() == (first, "90", False)
    Delivery.objects.create(
        sitting=cast.sitting, number=1, licence=cast.sitting.licences.get(), sizes={"casting-square": {}},
        passcode_hash=make_password("open sesame"), expires_at=timezone.now() + timedelta(days=14),
    )  # fmt: skip
    assert form() == ({str(square.pk)}, "14", True)
    Delivery.objects.update(expires_at=None, passcode_hash="")
    assert form() == ({str(square.pk)}, "", False)
