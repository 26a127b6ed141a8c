"""The main job run through on the demo, as its people would: from marks to an archive that is opened and checked."""

from __future__ import annotations

import hashlib
import io
import shutil
import tempfile
import time
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.conf import settings

from galleries import painter, storage
from galleries.access import Act, Visitor, require
from galleries.errors import Conflict
from galleries.imaging.contained import door
from galleries.models import Delivery, DeliverySize, Final, Invite, Licence, Sitting
from galleries.steps.agreeing import agree, extras
from galleries.steps.delivering import build, cut, file_order, groups, licences, offer, orders, receipts, sizes
from galleries.steps.delivering.file_order import FileOrder
from galleries.steps.demo import demo_sitting
from galleries.steps.finishing import approvals, notes, sending, versions
from galleries.steps.limits import limits
from galleries.steps.picking import pick
from galleries.words.told import sentences

Say = Callable[[str], None]
FINALS = 4


@dataclass(frozen=True)
class Result:
    frames: int
    looks: int
    finals: int
    files: int
    archive: str
    seconds: float

    def as_dict(self) -> dict[str, Any]:
        return dict(self.__dict__)


def run(say: Say) -> Result:
    """Take the demo from its marks to a delivery, and open what came out.

    Raises:
        DomainError: a step refused; Conflict where what came out is not what was asked for.
    """
    started = time.monotonic()
    sitting = demo_sitting.prepare(say).sitting
    if sitting.stage != Sitting.Stage.PROOFING:
        raise Conflict(f"The demo is {sitting.get_stage_display()} already; rehearse in a new PORTAL_HOME.")
    photographer = Visitor(user=sitting.photographer)
    subject = Visitor(invite=sitting.invites.get(role=Invite.Role.SUBJECT))
    agent = Visitor(invite=sitting.invites.get(role=Invite.Role.REPRESENTATION))
    finals = _agree(sitting, subject, agent, say)
    _finish(finals, photographer, subject, say)
    wanted = list(DeliverySize.objects.offered().filter(chosen_first=True))
    _crop(finals, wanted, photographer, say)
    licence = licences.compose(sitting, licences.draft(sitting), photographer)
    sitting.refresh_from_db()
    delivery = orders.prepare(sitting, wanted, licence, photographer)
    demo_sitting.wait_for_jobs(sitting, say, "deliveries", ["delivery"])
    delivery.refresh_from_db()
    if delivery.state == Delivery.State.MADE:
        offer.send(delivery, photographer)
    archive = _fetch(delivery, licence, subject)
    count = check_archive(archive, delivery)
    say(f"{count} pictures of {len(finals)} finals checked: bytes, pixels, rights")
    return Result(
        sitting.frames.count(),
        sitting.looks.count(),
        len(finals),
        count,
        str(archive),
        round(time.monotonic() - started, 1),
    )


def _agree(sitting: Sitting, subject: Visitor, agent: Visitor, say: Say) -> list[Final]:
    """The agent comes round to the subject's picks, says so, and closes the list."""
    wanted = [line.frame for line in agree.tally(sitting, agent).lines if line.subject == "pick"][:FINALS]
    for frame in wanted:
        pick.set_mark(agent, frame.pk, kind="pick")
    pick.say_done(subject, sitting)
    sitting.refresh_from_db()
    chosen = [line.frame.pk for line in agree.tally(sitting, agent).agreed][:FINALS]
    finals = agree.close(sitting, chosen, agent, extras.quote(sitting).token)
    say("List closed: " + ", ".join(agree.as_text(finals).split()))
    return finals


def _finish(finals: list[Final], photographer: Visitor, subject: Visitor, say: Say) -> None:
    """Retouches for all but the last; the first is sent back once; the last goes out as it is."""
    retouched, plain = finals[:-1], finals[-1]
    say(f"Retouching {len(retouched)} finals")
    for final in retouched:
        retouch(final, photographer, warmth=0.02)
    send_retouches(plain.sitting, photographer, say)
    first = retouched[0]
    notes.pin_note(first, subject, 0.4, 0.35, 0.1, 0.06, "A little less warm here, please.")
    approvals.send_back(first.versions.latest("number"), subject, "Please keep my skin cooler.")
    first.refresh_from_db()
    retouch(first, photographer, warmth=0.0)
    send_retouches(plain.sitting, photographer, say)
    for final in retouched:
        version = final.versions.latest("number")
        approvals.approve(version, subject, version.sha256)
    plain.refresh_from_db()
    approvals.deliver_as_it_is(plain, photographer)
    for final in finals:
        final.refresh_from_db()
        if not final.is_ready:
            raise Conflict(f"{final} is {final.get_state_display()} after all approvals.")


def send_retouches(sitting: Sitting, by: Visitor, say: Say) -> None:
    """When their proofs are made, as a photographer would after a look."""
    require(by, Act.RUN, sitting)
    demo_sitting.wait_for_jobs(sitting, say, "retouches", ["version"])
    waiting = sending.waiting(sitting)
    if waiting:
        sending.send(sitting, [version.pk for version in waiting], by)


def retouch(final: Final, by: Visitor, *, warmth: float) -> None:
    require(by, Act.RUN, final)
    frame = final.frame
    data = painter.retouch(storage.get(storage.private(), frame.key), warmth=warmth)
    with tempfile.NamedTemporaryFile(suffix=".jpg") as file:
        file.write(data)
        file.flush()
        outcome = versions.add_retouch(final.sitting, Path(file.name), painter.retouched_name(frame.name), by)
    if outcome.kind != "matched" or outcome.final is None or outcome.final.pk != final.pk:
        raise Conflict(f"The retouch of {frame.name} was not matched to it ({outcome.kind}: {outcome.reason}).")


def _crop(finals: list[Final], wanted: list[DeliverySize], by: Visitor, say: Say) -> None:
    """All proposed; one of them moved by hand, a fiftieth of its height up or down."""
    crops = [crop for final in finals for crop in cut.propose(final, wanted, by)]
    movable = next(crop for crop in crops if crop.height < crop.frame_height)
    step = max(1, movable.height // 50)
    top = movable.y - step if movable.y >= step else min(movable.y + step, movable.frame_height - movable.height)
    cut.adjust(movable, by, movable.x, top, movable.width, movable.height, movable.tilt)
    say(f"{len(crops)} crops proposed, one moved by hand")


def _fetch(delivery: Delivery, licence: Licence, subject: Visitor) -> Path:
    """Accepted first, then fetched, and noted that it was."""
    licences.accept(licence, subject, subject.name)
    delivery.refresh_from_db()
    offer.check_fetch(delivery, subject)
    folder = Path(settings.SITE_DIR) / "delivery"
    folder.mkdir(exist_ok=True)
    target = folder / delivery.archive_name
    with storage.private().open(delivery.archive_key, "rb") as source, open(target, "wb") as out:
        shutil.copyfileobj(source, out, 1 << 20)
    receipt = receipts.record(delivery, subject.invite, subject.name, target.name, target.stat().st_size - 1)
    if not receipts.complete(receipt):
        raise Conflict(f"{target.name} was not fetched to its end.")
    return target


def check_archive(archive: Path, delivery: Delivery) -> int:
    """Open the archive and hold every file against the manifest, its size and its rights; how many pictures it has.

    Raises:
        Conflict: naming the first file that is not what it should be.
    """
    if hashlib.sha256(archive.read_bytes()).hexdigest() != delivery.archive_sha256:
        raise Conflict(f"{archive.name} is not the archive that was made.")
    terms = licences.terms_of(delivery.licence)
    with zipfile.ZipFile(archive) as opened:
        if opened.testzip() is not None:
            raise Conflict(f"{archive.name} is damaged at {opened.testzip()}.")
        contents = {name.partition("/")[2]: opened.read(name) for name in opened.namelist()}
    for line in contents["SHA256SUMS"].decode().splitlines():
        digest, _, name = line.partition("  ")
        if hashlib.sha256(contents[name]).hexdigest() != digest:
            raise Conflict(f"{name} is not what SHA256SUMS says.")
    by_name = {order.name: order for order in file_order.of(delivery)}
    rows = list(delivery.files.all())
    paths = {row.name: groups.path_in_archive(delivery, row) for row in rows}
    if set(paths) != set(by_name) or not set(paths.values()) <= set(contents):
        raise Conflict("The archive does not hold exactly the files that were asked for.")
    for row in rows:
        data = contents[paths[row.name]]
        _check_picture(row.name, data, delivery.sizes[row.size_slug], by_name[row.name])
        differences = door.check_rights(data, build.rights_record(terms, by_name[row.name].said))
        if differences:
            raise Conflict(f"{row.name}: {' '.join(sentences(differences))}")
    return len(rows)


def _check_picture(name: str, data: bytes, numbers: dict[str, Any], order: FileOrder) -> None:
    spec = sizes.spec_from(numbers)
    with tempfile.NamedTemporaryFile() as file:
        shutil.copyfileobj(io.BytesIO(data), file)
        file.flush()
        facts = door.verify(Path(file.name), limits())
    want = (spec.out_width, spec.out_height) if not spec.full_frame else (order.crop.width, order.crop.height)
    if (facts.width, facts.height) != want:
        raise Conflict(f"{name} measures {facts.width} × {facts.height}, not {want[0]} × {want[1]}.")
    if spec.byte_cap and len(data) > spec.byte_cap:
        raise Conflict(f"{name} has {len(data)} bytes; {spec.byte_cap} are allowed.")
