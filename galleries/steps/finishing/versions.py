"""Retouches come in: each version matched to its final, verified, and shown stamped."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import IntegrityError, transaction
from django.db.models import Max, Q
from django.utils import timezone
from django.utils.translation import gettext as _

from galleries import stages, storage
from galleries.access import Act, Visitor, finals_shown_to, require
from galleries.errors import BadInput, Conflict, Refused
from galleries.imaging.comparing.amounts import Changes
from galleries.imaging.contained import door
from galleries.imaging.errors import ImagingError
from galleries.imaging.face.reading import FrameReading
from galleries.imaging.opening.picture import FrameFacts
from galleries.models import (
    Final,
    Frame,
    Invite,
    Job,
    JournalLine,
    Sitting,
    StrayRetouch,
    Studio,
    Verb,
    Version,
)
from galleries.steps import clashes, derived, jobs, scanner
from galleries.steps.finishing import match, source_type
from galleries.steps.ingesting import incoming
from galleries.steps.ingesting.incoming import Arrived
from galleries.steps.ingesting.ingest import clean_name, sha256_of
from galleries.steps.limits import limits
from galleries.steps.people import caps, letters
from galleries.steps.people.asked import approvers
from galleries.told import Told, following, told
from galleries.words.steps import Code
from galleries.words.told import sentence

Stage, S = Sitting.Stage, Final.State


@dataclass(frozen=True)
class Outcome:
    """What became of one retouched file."""

    kind: Literal["matched", "stray", "same", "refused"]
    final: Final | None = None
    version: Version | None = None
    told: Told | None = None
    stray: StrayRetouch | None = None

    @property
    def reason(self) -> str:
        """How it was matched, or why it was not, in the reader's language."""
        return sentence(self.told) if self.told else ""


def add_retouch(sitting: Sitting, source: Path | Arrived, name: str, by: Visitor, *, digest: str = "") -> Outcome:
    """Verify a retouched file and put it to its final; a doubtful one waits for a person's choice. What a retoucher
    sends in waits for the photographer's look, whatever the sitting says of sending at once.

    `digest` is what the sender says the SHA-256 is; when it differs the transfer went wrong and nothing is kept.

    Raises:
        Refused: not this person's to do, or the list is still open; or a retoucher sent too many files in a day.
        Conflict: the bytes are not those that the sender announced.
    """
    _may_send(sitting, by)
    name = clean_name(name)
    arrived = source if isinstance(source, Arrived) else Arrived(source, sha256_of(source), source.stat().st_size)
    incoming.check_whole(arrived, name, digest)
    known = Version.objects.filter(final__sitting=sitting, sha256=arrived.sha256).select_related("final").first()
    if known is not None:
        return Outcome("same", known.final, known, told(Code.SAME_VERSION, version=known.number))
    original = sitting.frames.filter(Q(sha256=arrived.sha256) | Q(raw__sha256=arrived.sha256)).first()
    if original is not None:
        return Outcome("refused", told=told(Code.NOT_RETOUCHED, frame=original.label))
    among = None
    if by.invite is not None:
        among = list(finals_shown_to(by, sitting).listed().select_related("frame", "sitting"))
    try:
        scanner.check(arrived.path)
        facts = door.verify(arrived.path, limits(), seconds=settings.VERIFY_SECONDS)
        if facts.is_raw:
            return Outcome("refused", told=told(Code.RAW_VERSION))
        if facts.profile_problem is not None:
            return Outcome("refused", told=following((told(Code.VERSION_COLOURS), facts.profile_problem)))
        matching = match.find(sitting, arrived.path, name, among)
    except (ImagingError, BadInput) as error:
        return Outcome("refused", told=error.told)
    key = storage.version_key(sitting.uid, arrived.sha256, facts.format)
    incoming.keep(arrived, key)
    fields: dict[str, Any] = {"sha256": arrived.sha256, "key": key, "name": name, "bytes": arrived.bytes}
    if matching.final is None:
        return _stray(sitting, by, matching, **fields)
    version = _add_version(matching.final, by, facts, matching.told, **fields, invite=by.invite)
    return Outcome("matched", matching.final, version, matching.told)


def check_sending(sitting: Sitting, by: Visitor) -> None:
    """
    Raises:
        Refused: retouches are not this person's to send, or not now; or a retoucher sent too many in a day.
    """
    _may_send(sitting, by)


def _may_send(sitting: Sitting, by: Visitor) -> None:
    if by.invite is None:
        _check_open(sitting, by)
        return
    require(by, Act.SEND_VERSION, sitting)
    caps.sending_versions(by.invite)


def _check_open(sitting: Sitting, by: Visitor) -> None:
    require(by, Act.RUN, sitting, _("Retouched files are the photographer's to add."))
    if sitting.stage not in {Stage.FINISHING, Stage.DELIVERED}:
        raise Refused(_("Retouched files can be added once the list of finals is closed."))


def _stray(sitting: Sitting, by: Visitor, matching: match.Matching, **fields: str | int) -> Outcome:
    with transaction.atomic():
        stray, is_new = StrayRetouch.objects.update_or_create(
            sitting=sitting, sha256=fields["sha256"],
            defaults={**fields, "reason": matching.told.as_text(300), "invite": by.invite},
        )  # fmt: skip
        stray.candidates.set(matching.candidates)
        if is_new:
            stages.touch(sitting)
            JournalLine.write(sitting, by.who, Verb.RETOUCH_NOT_MATCHED, stray.name, reason=matching.told.as_dict())
            _tell_of(by.invite, sitting)
    return Outcome("stray", told=matching.told, stray=stray)


def _tell_of(retoucher: Invite | None, sitting: Sitting) -> None:
    """The photographer hears of what a retoucher sent in: one letter a day, by the sitting's clock."""
    if retoucher is not None:
        day = timezone.now().astimezone(ZoneInfo(sitting.time_zone)).date()
        letters.notify_photographer(sitting, "retouched", about=f"invite-{retoucher.pk}-{day.isoformat()}")


def _add_version(final: Final, by: Visitor, facts: FrameFacts, how: Told, **fields: Any) -> Version:
    try:
        with transaction.atomic():
            last = final.versions.aggregate(last=Max("number"))["last"] or 0
            version = Version.objects.create(
                final=final,
                number=last + 1,
                width=facts.width,
                height=facts.height,
                matched_by=how.as_text(200),
                **fields,
            )
            detail = {"version": version.number, "sha256": version.sha256, "how": how.as_dict()}
            if final.sitting.send_at_once and not final.is_ready and version.invite is None:
                _send_at_once(version, by, detail)
            else:  # the photographer looks first; what would take an approval back is never sent by itself
                stages.touch(final.sitting)
                JournalLine.write(
                    final.sitting, by.who, Verb.VERSION_ADDED, f"final {final.frame.label}", final.state, final.state,
                    **detail,
                )  # fmt: skip
            jobs.enqueue("version", version.pk, final.sitting)
            _tell_of(by.invite, final.sitting)
    except IntegrityError as error:  # perhaps the same file, or another for the same final, came at the same moment
        if not clashes.at_once(error):
            raise
        raise Conflict(_("Another version of this final came in at the same moment. Send the file again.")) from error
    return version


def _send_at_once(version: Version, by: Visitor, detail: dict[str, object]) -> None:
    final = version.final
    Version.objects.filter(pk=version.pk).update(sent_at=timezone.now())
    version.refresh_from_db(fields=["sent_at"])
    if final.sitting.stage == Stage.DELIVERED:
        stages.advance(final.sitting, Stage.FINISHING, by, verb=Verb.FINISHING_AGAIN)
    stages.move_final(final, S.SHOWN, by, verb=Verb.VERSION_ADDED, **detail)


def settle_stray(stray: StrayRetouch, final: Final, by: Visitor) -> Version:
    """A person says which final a stray file belongs to.

    Raises:
        Refused: not this person's to do.
        BadInput: a final of another sitting, or one that is off the list.
    """
    _check_open(stray.sitting, by)
    if final.sitting_id != stray.sitting_id or not final.on_list:
        raise BadInput(_("Choose one of this sitting's finals."))
    facts = door.probe(storage.get(storage.private(), stray.key), limits())
    fields = {name: getattr(stray, name) for name in ("sha256", "key", "name", "bytes", "invite")}
    with transaction.atomic():
        if not StrayRetouch.objects.filter(pk=stray.pk).delete()[0]:
            raise Conflict(_("Somebody settled this file at the same moment."))
        return _add_version(final, by, facts, told(Code.BY_PERSON, name=by.name), **fields)


def drop_stray(stray: StrayRetouch, by: Visitor) -> None:
    """A stray file that belongs nowhere: its row and its bytes go."""
    _check_open(stray.sitting, by)
    with transaction.atomic():
        StrayRetouch.objects.filter(pk=stray.pk).delete()
        stages.touch(stray.sitting)
        JournalLine.write(stray.sitting, by.who, Verb.STRAY_RETOUCH_DROPPED, stray.name, sha256=stray.sha256)
    if not Version.objects.filter(key=stray.key).exists():
        shown = _stray_view(stray)
        shown.store.delete(shown.key)
        storage.private().delete(stray.key)


STRAY_SIDE = 1600  # beside a frame, each has half a desktop's width


def _stray_view(stray: StrayRetouch) -> derived.Derived:
    return derived.view_place(stray.sitting, stray.sha256, STRAY_SIDE)


def stray_view(stray: StrayRetouch) -> derived.Derived:
    """A file that waits for a choice, unstamped, for the studio's own eyes. Raises `ImagingError`."""
    return derived.view(stray.sitting, stray.key, stray.sha256, STRAY_SIDE)


def view(version: Version) -> derived.Derived:
    """A version unstamped, for the studio's own eyes. Raises `ImagingError`."""
    return derived.view(version.final.sitting, version.key, version.sha256)


def render_version(version_id: int) -> None:
    """The job: the stamped preview, the reading, and what of the face changed, with a caution where it is much."""
    version = Version.objects.select_related("final__sitting", "final__frame").filter(pk=version_id).first()
    if version is None:
        return
    final, sitting, store = version.final, version.final.sitting, storage.private()
    data = storage.get(store, version.key)
    label = f"{final.frame.label} v{version.number}"
    stamped = derived.stamped(sitting, final.frame, data, label, alone=True)
    source_type.read_from_file(version, data)
    amounts, caution = _changes(storage.get(store, final.frame.key), data, final.frame)
    with transaction.atomic():
        Version.objects.filter(pk=version.pk).update(
            proof_key=stamped.large_key,
            reading=stamped.drawn.reading.as_dict(),
            changes=amounts.as_dict() if amounts is not None else None,
            geometry_caution=caution.as_text(600) if caution else "",
        )
        stages.touch(sitting)  # locks its row: of two workers at the last two, the second sees what the first made
        with_proof = Version.objects.filter(final__sitting=sitting).exclude(proof_key="").values("pk")
        waiting = Job.objects.filter(
            sitting=sitting, kind="version", state__in=[Job.State.WAITING, Job.State.RUNNING]
        ).exclude(thing__in=with_proof)
        if version.sent_at is not None and not waiting.exists():  # one letter for a whole batch of versions
            letters.notify(sitting, "retouch", approvers(sitting), about=f"version-{version.sha256[:16]}")


def _changes(original: bytes, retouched: bytes, frame: Frame) -> tuple[Changes | None, Told | None]:
    face = FrameReading.from_dict(frame.read).face if frame.reading else None
    if face is None:
        return None, None
    amounts = door.changes(original, retouched, face, limits())
    if amounts is None:
        return None, told(Code.NOT_LAID_OVER)
    return amounts, amounts.caution(Studio.current().cautioned_from)
