"""A version approved by name or sent back; a final delivered as it is; who is waited for."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from galleries import stages
from galleries.access import Act, Visitor, require
from galleries.errors import BadInput, Conflict, Refused
from galleries.models import (
    Approval,
    Final,
    Frame,
    JournalLine,
    Sitting,
    Verb,
    Version,
)
from galleries.steps.people import letters
from galleries.steps.people.asked import roles_asked

Stage, S = Sitting.Stage, Final.State


def decisions(version: Version) -> dict[str, Approval]:
    """The last word of each side on one version, by role."""
    return last_words(version.approvals.select_related("invite", "user").order_by("pk"))


def last_words(approvals: Iterable[Approval]) -> dict[str, Approval]:
    """As `decisions`, of approvals that a page has loaded already, oldest first."""
    words: dict[str, Approval] = {}
    for approval in approvals:
        words["photographer" if approval.invite is None else approval.invite.role] = approval
    return words


def approve(version: Version, by: Visitor, sha256: str) -> Final:
    """The person approves exactly the bytes they name.

    Raises:
        Refused: not theirs to approve; the photographer cannot approve for them.
        Conflict: it is not the newest version (any more), or the final goes out without retouch.
    """
    final = version.final
    require(
        by,
        Act.APPROVE,
        final,
        _("An approval is the subject's or the representation's own word; nobody gives it for them."),
    )
    if by.invite is None:
        raise Refused(_("An approval is the subject's or the representation's own word; nobody gives it for them."))
    if not final.on_list:
        raise Conflict(_("This frame is no longer on the list."))
    with transaction.atomic():
        final = Final.objects.select_for_update(of=("self",)).select_related("sitting", "frame").get(pk=final.pk)
        last = final.versions.sent().newest()
        if last is None or last.pk != version.pk or sha256.lower() != version.sha256:
            raise Conflict(_("There is a newer version of this final. Look at it before you approve."))
        if final.state == S.AS_IT_IS:
            raise Conflict(_("The photographer delivers this final without retouch; there is nothing to approve."))
        _say(version, by, Approval.Decision.APPROVED, "")
        answers = decisions(version)
        returned = any(word.decision == Approval.Decision.RETURNED for word in answers.values())
        missing = [
            role
            for role in roles_asked(final)
            if role not in answers or answers[role].decision != Approval.Decision.APPROVED
        ]
        detail = {"version": version.number, "sha256": version.sha256}
        if final.state == S.RETURNED and not returned:
            stages.move_final(final, S.SHOWN, by, verb=Verb.TAKEN_BACK, **detail)
        if final.state == S.SHOWN and not missing and not returned:
            stages.move_final(final, S.APPROVED, by, verb=Verb.VERSION_APPROVED, **detail)
        else:
            stages.touch(final.sitting)
            JournalLine.write(
                final.sitting, by.who, Verb.VERSION_APPROVED, f"final {final.frame.label}", final.state, final.state,
                **detail, waits_for=missing,
            )  # fmt: skip
    return final


def send_back(version: Version, by: Visitor, note: str, *, for_retoucher: bool = False) -> Final:
    """The version is not it yet; the note says why. `for_retoucher`: whoever retouches may read it too.

    Raises:
        Refused: not this person's to do.
        BadInput: no note.
        Conflict: it is not the newest version (any more), or the final goes out without retouch.
    """
    final = version.final
    require(by, Act.APPROVE, final, _("Sending a retouch back is not yours to do, or not now."))
    if not note.strip():
        raise BadInput(_("Say in the note what should be different."))
    with transaction.atomic():
        final = Final.objects.select_for_update(of=("self",)).select_related("sitting", "frame").get(pk=final.pk)
        last = final.versions.sent().newest()
        if last is None or last.pk != version.pk:
            raise Conflict(_("There is a newer version of this final. Look at it before you send it back."))
        if final.state == S.AS_IT_IS:
            raise Conflict(_("The photographer delivers this final without retouch; there is nothing to send back."))
        _say(version, by, Approval.Decision.RETURNED, note.strip()[:2000], for_retoucher=for_retoucher)
        detail = {"version": version.number, "sha256": version.sha256}
        if final.state == S.RETURNED:
            JournalLine.write(
                final.sitting, by.who, Verb.SENT_BACK, f"final {final.frame.label}", final.state, final.state, **detail
            )
            stages.touch(final.sitting)
        else:
            stages.move_final(final, S.RETURNED, by, verb=Verb.SENT_BACK, **detail)
        if by.user is None:
            letters.notify_photographer(final.sitting, "returned", about=f"version-{version.sha256[:16]}")
        if version.invite is not None:
            letters.notify(final.sitting, "rework", [version.invite], about=f"version-{version.sha256[:16]}")
    return final


def _say(version: Version, by: Visitor, decision: str, note: str, *, for_retoucher: bool = False) -> None:
    Approval.objects.create(
        version=version,
        sha256=version.sha256,
        decision=decision,
        note=note,
        for_retoucher=for_retoucher,
        who=by.name,
        invite=by.invite,
        user=by.user,
    )


def standing(final: Final) -> Final.State:
    """The state that a final has by its versions and what was said of them, whatever the photographer decided."""
    version = final.versions.sent().newest()
    if version is None:
        return S.AGREED
    answers = decisions(version)
    words = {role: word.decision for role, word in answers.items()}
    if Approval.Decision.RETURNED in words.values():
        return S.RETURNED
    approved = all(words.get(role) == Approval.Decision.APPROVED for role in roles_asked(final))
    return S.APPROVED if approved else S.SHOWN


def deliver_as_it_is(final: Final, by: Visitor, *, setting_aside: str = "", from_camera_picture: bool = False) -> Final:
    """The photographer says: no retouch for this one, the frame goes out as it was taken. `take_back` undoes it.

    `setting_aside`: the SHA-256 of the retouch that was approved, when there is one: its approval does not count then.
    `from_camera_picture`: of a raw frame, the explicit word that it is cut from the picture the camera made of it.

    Raises:
        Refused: not this person's to say; or a raw frame whose camera left no picture large enough to cut from.
        Conflict: it is said already, it would set an approved retouch aside that was not named, or a raw frame would
            be cut from the camera's picture without that word.
    """
    require(by, Act.RUN, final, _("Only the photographer says that a final goes out without retouch."))
    approved = final.versions.sent().newest() if final.state == S.APPROVED else None
    if approved is not None and setting_aside != approved.sha256:
        raise Conflict(
            _("Version %(n)d of %(frame)s is approved and would not be delivered. Say that you mean it.")
            % {"n": approved.number, "frame": final.frame.label}
        )
    detail: dict[str, Any] = {"set_aside": approved.number} if approved else {}
    verb = Verb.DELIVERED_AS_IT_IS
    if final.frame.is_raw:
        _check_camera_picture(final.frame, meant=from_camera_picture)
        verb, size = Verb.FROM_CAMERA_PICTURE, [final.frame.width, final.frame.height]
        detail |= {"file": final.frame.name, "pixels": size}
    with transaction.atomic():
        Final.objects.filter(pk=final.pk).update(from_camera_picture=final.frame.is_raw)
        stages.move_final(final, S.AS_IT_IS, by, verb=verb, **detail)
    return final


def _check_camera_picture(frame: Frame, *, meant: bool) -> None:
    if frame.shown != Frame.Shown.EMBEDDED:
        raise Refused(
            _(
                "The raw file of %s holds no picture of the camera's that is large enough. "
                "Send a version developed from it."
            )
            % frame.label
        )
    if not meant:
        raise Conflict(
            _("%s is a raw file of the camera. Say that it is cut from the camera's picture, or send a version of it.")
            % frame.label
        )


def take_back(final: Final, by: Visitor) -> Final:
    """Not as it was taken after all: versions and approvals count again as they stood.

    Raises:
        Refused: not this person's to say.
        Conflict: it is not said of this final.
    """
    require(by, Act.RUN, final, _("Only the photographer says that a final goes out without retouch."))
    if final.state != S.AS_IT_IS:
        raise Conflict(_("This final is not to be delivered as it was taken."))
    with transaction.atomic():
        Final.objects.filter(pk=final.pk).update(from_camera_picture=False)
        stages.move_final(final, standing(final), by, verb=Verb.RETOUCH_AFTER_ALL)
    return final


def waiting_for(finals: Iterable[Final]) -> list[str]:
    """Why a delivery is not complete yet, one sentence per final that is not ready."""
    return [
        _("%(final)s: %(state)s.") % {"final": final.frame.label, "state": S(final.state).label}
        for final in finals
        if not final.is_ready
    ]
