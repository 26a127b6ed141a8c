"""Retouch rounds: files come in and find their finals, are shown stamped, approved by name of version or sent back."""

from __future__ import annotations

from pathlib import Path
from tempfile import NamedTemporaryFile

import numpy as np
import pytest

from galleries import storage
from galleries.access import Visitor
from galleries.errors import BadInput, Conflict, Missing, Refused
from galleries.models import (
    Approval,
    Final,
    Frame,
    Invite,
    Letter,
    PinnedNote,
    Sitting,
    StrayRetouch,
    Version,
)
from galleries.steps import jobs
from galleries.steps.delivering import cut
from galleries.steps.finishing import approvals, match, notes, sending, versions
from galleries.steps.keeping import retention
from tests import painted, retouches
from tests.cast import Cast, make_cast

pytestmark = pytest.mark.django_db
S = Final.State


@pytest.fixture
def cast() -> Cast:
    return make_cast()


def send(cast: Cast, name: str, data: bytes, by: Visitor | None = None) -> versions.Outcome:
    with NamedTemporaryFile() as file:
        file.write(data)
        file.flush()
        return versions.add_retouch(cast.sitting, Path(file.name), name, by or cast.as_owner)


def stem(index: int) -> str:
    return Path(painted.camera_files()[index][0]).stem


def version_of(cast: Cast, index: int = 0, warmth: float = 0.02) -> Version:
    outcome = send(cast, f"{stem(index)}_v2.jpg", painted.retouched_file(index, warmth))
    assert outcome.kind == "matched", outcome
    assert outcome.version is not None
    return outcome.version


# --- which final is it? ---


@pytest.mark.parametrize(
    ("name", "hits"),
    [
        ("KAL_0001.JPG", {1}),
        ("kal_0001.tif", {1}),
        ("KAL_0001_v2.jpg", {1}),
        ("KAL_0001-retouched.jpg", {1}),
        ("KAL_0001 copy.jpg", {1}),
        ("KAL_0001 (2).jpg", {1}),
        ("KAL_0001v3.jpg", {1}),
        ("Ansa Veld KAL-0001 final.jpg", {1}),
        ("KAL_00011.jpg", {11}),
        ("KAL_0001_KAL_0002.jpg", {1, 2}),
        ("XKAL_0001.jpg", set()),
        ("portrait.jpg", set()),
        ("0001.jpg", set()),
    ],
)
def test_names_that_an_editor_gives(cast: Cast, name: str, hits: set[int]) -> None:
    frames = [cast.frame(1), cast.frame(2), cast.frame(11, name="KAL_00011.JPG")]
    finals = [Final(frame=frame, sitting=cast.sitting) for frame in frames]
    assert {final.frame.number for final in match.by_name(finals, name)} == hits


def test_a_camera_name_that_continues_another_is_told_apart(cast: Cast) -> None:
    finals = [
        Final(frame=cast.frame(1, name="KAL_0001.JPG")),
        Final(frame=cast.frame(2, name="KAL_0001-2.JPG")),
    ]
    assert match.by_name(finals, "KAL_0001-2_v3.jpg") == [finals[1]]
    assert match.by_name(finals, "KAL_0001.jpg") == [finals[0]]
    twins = [Final(frame=cast.frame(5, name="A_0001.JPG")), Final(frame=cast.frame(6, name="A_0001.tif"))]
    assert match.by_name(twins, "A_0001_v1.jpg") == twins


def test_a_version_is_matched_by_name_stored_and_shown_stamped(cast: Cast) -> None:
    first, _second = painted.finals_of(cast)
    version = version_of(cast)
    assert version.final == first
    assert version.how_found == "by its file name"
    assert storage.get(storage.private(), version.key) == painted.retouched_file(0)
    first.refresh_from_db()
    assert first.state == S.SHOWN
    assert not Letter.objects.filter(kind="retouch").exists()
    jobs.run_waiting(cast.sitting, kinds=["version"])
    version.refresh_from_db()
    shown = retouches.opened(storage.get(storage.proofs(), version.proof_key))
    plain = retouches.opened(painted.retouched_file(0))
    assert shown.shape == plain.shape
    assert np.abs(shown.astype(int) - plain).max() > 60  # the stamp
    assert version.reading["face"] is not None
    assert version.geometry_caution == ""
    assert list(Letter.objects.filter(kind="retouch").values_list("to", flat=True)) == [cast.subject.email]
    versions.render_version(version.pk)  # again is harmless
    assert Letter.objects.filter(kind="retouch").count() == 1


def test_a_renamed_file_is_matched_by_its_picture(cast: Cast) -> None:
    first, _second = painted.finals_of(cast)
    outcome = send(cast, "final edit.jpg", painted.retouched_file(0))
    assert (outcome.kind, outcome.final) == ("matched", first)
    assert "by its picture" in outcome.reason
    assert send(cast, "other name.jpg", painted.retouched_file(0)).kind == "same"


def test_a_name_that_contradicts_the_picture_is_asked(cast: Cast) -> None:
    first, _second = painted.finals_of(cast)
    other = retouches.as_jpeg(np.ascontiguousarray(retouches.opened(painted.camera_files()[2][1])[::-1]))
    outcome = send(cast, f"{stem(0)}_v2.jpg", other)
    assert outcome.kind == "stray"
    assert outcome.stray is not None
    assert first in outcome.stray.candidates.all()
    assert first.frame.label in outcome.reason
    assert not Version.objects.exists()


def test_a_file_saved_under_the_name_of_another_final_is_asked(cast: Cast) -> None:
    first, second = painted.finals_of(cast)
    outcome = send(cast, f"{stem(0)}_v2.jpg", painted.retouched_file(1))
    assert outcome.kind == "stray", "the picture is the other final's for sure, whatever the name says"
    assert outcome.stray is not None
    assert set(outcome.stray.candidates.all()) == {first, second}
    assert outcome.reason == f"It is named like {first.frame.label}, but looks like {second.frame.label}."
    assert send(cast, f"{stem(1)}_v2.jpg", painted.retouched_file(1, 0.03)).final == second


def test_another_final_that_is_a_little_like_the_named_one_is_no_version_of_it(cast: Cast) -> None:
    first, _second, third = painted.finals_of(cast, 3)
    picture = retouches.opened(painted.retouched_file(2))
    mixed = retouches.as_jpeg(
        np.clip(0.9 * picture + 0.1 * retouches.opened(painted.camera_files()[0][1]), 0, 255).astype(np.uint8)
    )
    outcome = send(cast, f"{stem(0)}_v2.jpg", mixed)
    assert outcome.kind == "stray"
    assert outcome.stray is not None
    assert set(outcome.stray.candidates.all()) == {first, third}


def test_a_retouch_of_a_frame_off_the_list_is_asked_then_settled_or_dropped(cast: Cast) -> None:
    first, second = painted.finals_of(cast)
    outcome = send(cast, "somebody.jpg", painted.retouched_file(2))
    assert outcome.kind == "stray"
    stray = outcome.stray
    assert stray is not None
    assert send(cast, "somebody.jpg", painted.retouched_file(2)).stray == stray
    with pytest.raises(Refused):
        versions.settle_stray(stray, first, cast.as_subject)
    version = versions.settle_stray(stray, second, cast.as_owner)
    assert version.final == second
    assert cast.owner.first_name in version.matched_by
    assert not StrayRetouch.objects.exists()
    other = send(cast, "again.jpg", painted.retouched_file(2, 0.05)).stray
    assert other is not None
    versions.drop_stray(other, cast.as_owner)
    assert not StrayRetouch.objects.exists()
    assert not storage.private().exists(other.key)


def test_two_with_one_name_are_told_apart_by_the_picture(cast: Cast) -> None:
    first, second = painted.finals_of(cast)
    Frame.objects.filter(pk__in=[first.frame_id, second.frame_id]).update(name="IMG_0001.JPG")
    outcome = send(cast, "IMG_0001_v2.jpg", painted.retouched_file(1))
    assert (outcome.kind, outcome.final) == ("matched", second)


@pytest.mark.parametrize(("name", "data"), [("a.jpg", b"no picture"), ("b.jpg", None)])
def test_what_is_no_retouch_is_refused_with_a_reason(cast: Cast, name: str, data: bytes | None) -> None:
    painted.finals_of(cast)
    outcome = send(cast, name, data if data is not None else painted.camera_files()[0][1])
    assert outcome.kind == "refused"
    assert outcome.reason.endswith(".")
    assert not Version.objects.exists()


def test_a_truncated_retouch_is_refused(cast: Cast) -> None:
    painted.finals_of(cast)
    whole = painted.retouched_file(0)
    assert send(cast, f"{stem(0)}_v2.jpg", whole[: len(whole) // 2]).kind == "refused"


def test_nothing_comes_in_while_the_list_is_open_or_from_others(cast: Cast) -> None:
    painted.frames_of(cast)
    with pytest.raises(Refused, match="closed"):
        send(cast, "x.jpg", b"")
    with pytest.raises(Refused):
        send(cast, "x.jpg", b"", cast.as_subject)


def test_a_changed_face_is_cautioned(cast: Cast) -> None:
    first, _second = painted.finals_of(cast)
    rgb = retouches.opened(painted.retouched_file(0))
    face = cut.source_of(first).face
    assert face is not None
    for eye in (face.right_eye, face.left_eye):
        rgb = retouches.grown(rgb, eye, 0.45 * face.eye_distance, 0.12)
    outcome = send(cast, f"{stem(0)}_v2.jpg", retouches.as_jpeg(rgb))
    jobs.run_waiting(cast.sitting, kinds=["version"])
    version = Version.objects.get(pk=outcome.version.pk)
    assert "eyes" in version.caution
    assert "larger" in version.caution


# --- approvals ---


def test_an_approval_names_its_version(cast: Cast) -> None:
    painted.finals_of(cast)
    one = version_of(cast)
    two = version_of(cast, warmth=0.05)
    assert two.number == 2
    with pytest.raises(Conflict, match="newer"):
        approvals.approve(one, cast.as_subject, one.sha256)
    with pytest.raises(Conflict, match="newer"):
        approvals.approve(two, cast.as_subject, one.sha256)
    final = approvals.approve(two, cast.as_subject, two.sha256)
    assert final.state == S.APPROVED
    assert cut.source_of(final).sha256 == two.sha256
    three = version_of(cast, warmth=0.08)
    final.refresh_from_db()
    assert final.state == S.APPROVED  # what is approved is not taken back by a file that comes in
    Version.objects.filter(pk=three.pk).update(proof_key="sittings/x/proof/3.jpg")
    with pytest.raises(Conflict, match="takes that back"):
        sending.send(cast.sitting, [three.pk], cast.as_owner)
    sending.send(cast.sitting, [three.pk], cast.as_owner, setting_aside=[three.pk])
    final.refresh_from_db()
    assert final.state == S.SHOWN
    assert cut.source_of(final).sha256 == two.sha256  # nobody approved the third yet
    assert approvals.approve(three, cast.as_subject, three.sha256).state == S.APPROVED
    assert painted.verbs(cast.sitting).count("version approved") == 2


def test_where_the_representation_approves_too_both_must(cast: Cast) -> None:
    painted.finals_of(cast)
    Sitting.objects.filter(pk=cast.sitting.pk).update(representation_approves=True)
    cast.sitting.refresh_from_db()
    version = version_of(cast)
    version.refresh_from_db()
    assert approvals.approve(version, cast.as_representation, version.sha256).state == S.SHOWN
    assert approvals.approve(version, cast.as_subject, version.sha256).state == S.APPROVED
    assert set(approvals.decisions(version)) == {"subject", "representation"}


def test_representation_without_an_open_invite_is_not_waited_for(cast: Cast) -> None:
    painted.finals_of(cast)
    Sitting.objects.filter(pk=cast.sitting.pk).update(representation_approves=True)
    Invite.objects.filter(pk=cast.representation.pk).update(revoked_at="2026-01-01T00:00:00Z")
    version = version_of(cast)
    assert approvals.approve(version, cast.as_subject, version.sha256).state == S.APPROVED


def test_sent_back_taken_back(cast: Cast) -> None:
    painted.finals_of(cast)
    version = version_of(cast)
    with pytest.raises(BadInput, match="note"):
        approvals.send_back(version, cast.as_subject, " ")
    final = approvals.send_back(version, cast.as_subject, "Too smooth")
    assert final.state == S.RETURNED
    assert Letter.objects.filter(kind="returned", to=cast.owner.email).count() == 1
    assert approvals.send_back(version, cast.as_subject, "And too warm").state == S.RETURNED
    assert approvals.approve(version, cast.as_subject, version.sha256).state == S.APPROVED
    assert approvals.send_back(version, cast.as_subject, "After all no").state == S.RETURNED
    assert Approval.objects.count() == 4


@pytest.mark.parametrize("who", ["owner", "representation", "recipient", "stranger"])
def test_nobody_approves_for_the_subject(cast: Cast, who: str) -> None:
    painted.finals_of(cast)
    version = version_of(cast)
    person = getattr(cast, who)
    visitor = Visitor(invite=person) if isinstance(person, Invite) else Visitor(user=person)
    with pytest.raises(Missing if who == "stranger" else Refused):
        approvals.approve(version, visitor, version.sha256)
    assert not Approval.objects.exists()


def test_delivered_as_it_is(cast: Cast) -> None:
    first, _second = painted.finals_of(cast)
    with pytest.raises(Refused):
        approvals.deliver_as_it_is(first, cast.as_subject)
    version = version_of(cast)
    first.refresh_from_db()
    assert approvals.deliver_as_it_is(first, cast.as_owner).state == S.AS_IT_IS
    assert cut.source_of(first).sha256 == first.frame.sha256
    with pytest.raises(Conflict, match="without retouch"):
        approvals.approve(version, cast.as_subject, version.sha256)
    with pytest.raises(Conflict):
        approvals.deliver_as_it_is(first, cast.as_owner)


def test_a_new_version_after_delivery_opens_the_finishing_again(cast: Cast) -> None:
    painted.finals_of(cast)
    Sitting.objects.filter(pk=cast.sitting.pk).update(stage=Sitting.Stage.DELIVERED)
    cast.sitting.refresh_from_db()
    version = version_of(cast)
    cast.sitting.refresh_from_db()
    assert cast.sitting.stage == Sitting.Stage.FINISHING
    version.final.sitting.refresh_from_db()
    approvals.approve(Version.objects.get(pk=version.pk), cast.as_subject, version.sha256)


def test_an_archived_sitting_takes_no_retouch(cast: Cast) -> None:
    painted.finals_of(cast)
    retention.put_away(cast.sitting, cast.as_owner)
    with pytest.raises(Refused):
        version_of(cast)


# --- notes ---


def test_pinned_notes(cast: Cast) -> None:
    first, _second = painted.finals_of(cast)
    note = notes.pin_note(first, cast.as_subject, 0.5, 0.4, 0.1, 0.1, "This hair")
    assert (note.who, note.invite) == ("Ansa Veld", cast.subject)
    notes.pin_note(first, cast.as_owner, 0.0, 1.0, text="The corner")
    with pytest.raises(Refused):
        notes.settle_note(note, cast.as_subject)
    notes.settle_note(note, cast.as_owner)
    assert note.done
    for bad in ((1.2, 0.5, 0, 0, "x"), (0.5, 0.5, 0.6, 0, "x"), (0.5, 0.5, -0.1, 0, "x"), (0.5, 0.5, 0, 0, " ")):
        with pytest.raises(BadInput):
            notes.pin_note(first, cast.as_subject, *bad)
    with pytest.raises(Refused):
        notes.pin_note(first, cast.as_recipient, 0.5, 0.5, text="x")
    assert PinnedNote.objects.count() == 2


def test_brief_and_description(cast: Cast) -> None:
    first, _second = painted.finals_of(cast)
    notes.set_brief(first, cast.as_owner, " Keep the freckles. ")
    assert first.brief == "Keep the freckles."
    notes.set_alt_text(first, cast.as_owner, "Ansa Veld, smiling\n before a canvas")
    assert first.alt_text == "Ansa Veld, smiling before a canvas"
    with pytest.raises(BadInput, match="250"):
        notes.set_alt_text(first, cast.as_owner, "x" * 251)
    for verb in (notes.set_brief, notes.set_alt_text):
        with pytest.raises(Refused):
            verb(first, cast.as_subject, "mine")
