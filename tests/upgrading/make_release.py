"""Write what a release leaves behind: rows of every kind and the few files they name, made by that release's own steps.

Run by hand, once per release, inside a checkout of it (see DEVELOPERS.md, "A release's remains"). It therefore
calls the steps as that release names them, and is changed together with them. Everybody in it is invented.

    python make_release.py a60bf04 /tmp/home a60bf04.json

The JSON holds `release`, `migration` (the newest of `galleries`), `rows` (as Django's serializer writes them), `files`
(name in the private store -> SHA-256), `contents` (SHA-256 -> base64) and `names`: what the test has to know.
"""

from __future__ import annotations

import base64
import hashlib
import io
import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

release, home, target = sys.argv[1:4]
os.environ |= {"PORTAL_HOME": home, "DJANGO_SETTINGS_MODULE": "portal.settings", "PORTAL_TIME_ZONE": "UTC"}
sys.path.insert(0, str(Path.cwd()))
Path(home, "static").mkdir(parents=True, exist_ok=True)

import django  # noqa: E402

django.setup()

from django.apps import apps  # noqa: E402
from django.contrib.auth.models import User  # noqa: E402
from django.core import serializers  # noqa: E402
from django.core.management import call_command  # noqa: E402
from django.core.serializers.json import DjangoJSONEncoder  # noqa: E402
from django.db.migrations.recorder import MigrationRecorder  # noqa: E402
from PIL import Image  # noqa: E402

from galleries import storage  # noqa: E402
from galleries.access import Visitor  # noqa: E402
from galleries.models import DeliverySize, Final, Frame, Invite, Job, Sitting, Studio, Version  # noqa: E402
from galleries.painter import paint_frame, plan_sitting, retouch, write_frame  # noqa: E402
from galleries.steps import (  # noqa: E402
    agree,
    deliver,
    finish,
    ingest,
    invite,
    jobs,
    letters,
    licences,
    looks,
    making,
    pick,
    planning,
    receipts,
    usage,
)

jobs._silent["until"] = float("inf")  # no queue here
NAMES: dict[str, Any] = {"links": {}}


def small(data: bytes, side: int = 240) -> bytes:
    """A camera's file with its metadata and few bytes."""
    with Image.open(io.BytesIO(data)) as picture:
        exif = picture.getexif()
        picture.thumbnail((side, side))
        out = io.BytesIO()
        picture.convert("RGB").save(out, "JPEG", quality=40, exif=exif)
    return out.getvalue()


def saying(data: bytes, source_type: str) -> bytes:
    """The file as a retoucher's program leaves it: it says itself how it was made (IPTC digital source type)."""
    tag = f"-XMP-iptcExt:DigitalSourceType=http://cv.iptc.org/newscodes/digitalsourcetype/{source_type}"
    return subprocess.run(["exiftool", "-q", "-n", tag, "-"], input=data, check=True, capture_output=True).stdout


def painted(count: int) -> list[tuple[str, bytes]]:
    plan = plan_sitting(7)
    wanted = [plan.frames[index] for index in (0, 1, 12, 13)[:count]]
    return [(one.name, small(write_frame(plan, one, paint_frame(plan, one, 900)))) for one in wanted]


def bring(sitting: Sitting, name: str, data: bytes, by: Visitor, verb: Any = None) -> Any:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, name)
        path.write_bytes(data)
        return (verb or ingest.add_frame)(sitting, path, name, by)


def let_in(sitting: Sitting, role: str, name: str, by: Visitor, **more: Any) -> Invite:
    email = f"{name.split()[0].lower()}.{sitting.slug}@invited.example"
    person = invite.invite(sitting, role, name, email, by, days=36500, **more)
    NAMES["links"][f"{sitting.slug} {role} {name.split()[0]}"] = invite.new_link(person)
    return person


def sitting_with_frames(
    title: str, given: str, owner: User, pictures: list[tuple[str, bytes]], **fields: Any
) -> Sitting:
    by = Visitor(user=owner)
    sitting = planning.create_sitting(owner, title=title, subject_given=given, subject_surname="Tormalin", **fields)
    for name, data in pictures:
        bring(sitting, name, data, by)
    jobs.run_waiting(sitting)
    sitting.refresh_from_db()
    return sitting


def planned(owner: User) -> Sitting:
    by = Visitor(user=owner)
    sitting = planning.create_sitting(owner, title="Planned only", subject_given="Wenna", subject_surname="Tormalin")
    looks.new_look(sitting, "Grey wall", by, backdrop="painted canvas", key_light="window from the left")
    subject = let_in(sitting, "subject", "Wenna Tormalin", by)
    planning.comment(Visitor(invite=subject), sitting, "Could we keep the collar open?", look=sitting.looks.first())
    return sitting


def proofing(owner: User, pictures: list[tuple[str, bytes]]) -> Sitting:
    by = Visitor(user=owner)
    sitting = sitting_with_frames(
        "Marks and looks", "Ilse", owner, pictures, allowance=2, subject_chooses_looks=True,
        subject_is_minor=True, guardian_name="Odo Tormalin", guardian_consent_on="2026-03-02",
    )  # fmt: skip
    frames = list(sitting.frames.order_by("name"))
    first = sitting.looks.order_by("position").first() or looks.new_look(sitting, "Linen", by)
    coat = looks.new_look(sitting, "Green coat", by, wardrobe="coat")
    spare = looks.new_look(sitting, "Test shots", by, notes="colour card first")
    looks.move_frames(sitting, [one.pk for one in frames], first, by)
    looks.move_frames(sitting, [frames[3].pk], spare, by)
    looks.merge(spare, coat, by)
    looks.set_hidden(sitting, [frames[2].pk], True, by)
    looks.undo(sitting, by)
    looks.split(Frame.objects.get(pk=frames[1].pk), "Linen, seated", by)
    looks.set_hidden(sitting, [frames[2].pk], True, by)
    agree.publish(sitting, by)
    subject = let_in(sitting, "subject", "Ilse Tormalin", by, language="de")
    agent = let_in(sitting, "representation", "Piet Sandoval", by, may_pass_on=True)
    let_in(sitting, "assistant", "Noor Hale", by)
    gone = let_in(sitting, "recipient", "Old Desk", by)
    invite.revoke(gone, by)
    passed = invite.pass_on("Rika Sandoval", "rika.marks@invited.example", Visitor(invite=agent))
    NAMES["links"][f"{sitting.slug} passed Rika"] = invite.new_link(passed)
    pick.set_mark(Visitor(invite=subject), frames[0].pk, kind="pick", note="My favourite, the eyes.")
    pick.set_mark(Visitor(invite=subject), frames[1].pk, kind="strike")
    pick.set_mark(Visitor(invite=agent), frames[0].pk, kind="pick")
    pick.set_mark(Visitor(invite=passed), frames[1].pk, kind="alternate", note="for the theatre")
    pick.set_order(Visitor(invite=subject), sitting, [frames[0].pk, frames[1].pk])
    pick.remark(Visitor(invite=agent), frames[0].pk, "Can the collar be calmer?")
    pick.keep_look_from_representation(Visitor(invite=subject), coat, True)
    letters.invite_by_letter(subject, by)
    ingest_refused(sitting, by)
    return sitting


def ingest_refused(sitting: Sitting, by: Visitor) -> None:
    assert bring(sitting, "notes.jpg", b"no picture at all", by).frame is None


def finishing(owner: User, pictures: list[tuple[str, bytes]], retouches: list[bytes]) -> Sitting:
    """The list was closed, reopened and closed; a retouch in each state; a delivery that waits for the worker."""
    by = Visitor(user=owner)
    sitting = sitting_with_frames("Retouches on the way", "Bram", owner, pictures, allowance=3)
    agree.publish(sitting, by)
    subject = let_in(sitting, "subject", "Bram Tormalin", by)
    agent = let_in(sitting, "representation", "Piet Sandoval", by)
    frames = list(sitting.frames.order_by("name"))
    sitting.refresh_from_db()
    agree.close(sitting, [frames[0].pk], Visitor(invite=agent))
    sitting.refresh_from_db()
    agree.reopen(sitting, by, "One more for the theatre page.")
    sitting.refresh_from_db()
    agree.close(sitting, [one.pk for one in frames[:3]], by)
    sitting.refresh_from_db()
    for frame, data in zip(frames, retouches, strict=False):
        bring(sitting, f"{frame.stem}_v1.jpg", data, by, finish.add_retouch)
    bring(sitting, "somewhere_else.jpg", small(data_of_another()), by, finish.add_retouch)
    jobs.run_waiting(sitting)
    one, two, three = sitting.finals.order_by("position", "pk")
    as_subject = Visitor(invite=subject)
    version = one.versions.get()
    making.declare(version, by, Version.Kind.RETOUCHED)
    one.refresh_from_db()
    finish.approve(version, as_subject, version.sha256)
    two.refresh_from_db()
    finish.pin_note(two, as_subject, 0.42, 0.4, 0.08, 0.06, "The little line here is mine, please keep it.")
    finish.send_back(two.versions.get(), as_subject, "A touch less smooth, please.")
    finish.deliver_as_it_is(Final.objects.get(pk=three.pk), by)
    finish.set_alt_text(three, by, "Bram before a grey wall, smiling")
    licence = licences.compose(sitting, licences.draft(sitting), by)
    deliver.prepare(sitting, list(DeliverySize.objects.filter(slug__startswith="tiny")), licence, by, partial=True)
    return sitting


def delivered(owner: User, pictures: list[tuple[str, bytes]]) -> Sitting:
    """One file was fetched, a further use granted, another asked for."""
    by = Visitor(user=owner)
    sitting = sitting_with_frames("Handed over", "Cato", owner, pictures[:1])
    agree.publish(sitting, by)
    subject = let_in(sitting, "subject", "Cato Tormalin", by)
    desk = let_in(sitting, "recipient", "Stage Desk", by)
    sitting.refresh_from_db()
    agree.close(sitting, list(sitting.frames.values_list("pk", flat=True)), by)
    sitting.refresh_from_db()
    for final in sitting.finals.all():
        finish.deliver_as_it_is(final, by)
    licence = licences.compose(sitting, licences.draft(sitting), by)
    for person in (subject, desk):
        licences.accept(licence, Visitor(invite=person), person.name)
    delivery = deliver.prepare(
        sitting, list(DeliverySize.objects.filter(slug="tiny-web")), licence, by, passcode="harbour"
    )
    jobs.run_waiting(sitting)
    delivery.refresh_from_db()
    assert delivery.state == "ready", deliver.problem_of(delivery)
    receipts.record(delivery, subject, subject.name, delivery.files.first().name, 100)
    sitting.refresh_from_db()
    first = usage.ask(sitting, Visitor(invite=subject), "poster", "for one season")
    usage.ask(sitting, Visitor(invite=desk), "a book about the company", "cover")
    usage.grant(first, by, ["poster"])
    return sitting


def data_of_another() -> bytes:
    plan = plan_sitting(11)
    return write_frame(plan, plan.frames[20], paint_frame(plan, plan.frames[20], 900))


def tiny_sizes() -> None:
    day = {"source": "invented for this", "mark": "own", "checked_on": "2026-01-05"}
    DeliverySize.objects.create(
        slug="tiny-web", title="Tiny web", use="web", width=120, height=150, ppi=72, min_ppi=0, quality=60, **day
    )
    DeliverySize.objects.create(
        slug="tiny-print", title="Tiny print", use="print", width=480, height=600, ppi=60, bleed=7.5, border=15, safe=8,
        name_strip=True, quality=60, **day,
    )  # fmt: skip


def jobs_in_every_state(sitting: Sitting) -> None:
    """A frame that came in last, given up once; a sorting whose worker died and that was asked for meanwhile."""
    job = Job.objects.filter(sitting=sitting, kind="proof").order_by("pk").last()
    Job.objects.filter(pk=job.pk).update(state="failed", reason="OSError: the store was away", attempts=3)
    Job.objects.filter(sitting=sitting, kind="sort").update(
        state="running",
        owner="gone.example/1/1",
        lease_until="2026-01-01T00:00:00Z",
        reason=jobs.ONCE_MORE,
        done_at=None,
    )


def files_of_rows() -> tuple[dict[str, str], dict[str, str]]:
    """Originals, retouches, files handed over. Archives and stamped proofs are left out, which keeps this small."""
    from galleries.models import DeliveredFile, StrayRetouch

    keys = [*Frame.objects.values_list("key", flat=True), *Version.objects.values_list("key", flat=True)]
    keys += [*DeliveredFile.objects.values_list("key", flat=True), *StrayRetouch.objects.values_list("key", flat=True)]
    files, contents = {}, {}
    for key in sorted(set(keys)):
        data = storage.get(storage.private(), key)
        files[key] = hashlib.sha256(data).hexdigest()
        contents[files[key]] = base64.b64encode(data).decode()
    return files, contents


def main() -> None:
    call_command("migrate", verbosity=0)
    Studio.objects.create(name="Tarn Street Studio", photographer="Hedda Lindqvist", email="hedda@tarn.example")
    owner = User.objects.create_user(
        "hedda", email="hedda@tarn.example", password="lanterns-at-noon", first_name="Hedda"
    )
    tiny_sizes()
    pictures = painted(4)
    retouches = [small(retouch(data, warmth=0.02)) for _name, data in pictures[:2]]
    retouches[1] = saying(retouches[1], "algorithmicallyEnhanced")
    sittings = [
        planned(owner),
        proofing(owner, pictures),
        finishing(owner, pictures, retouches),
        delivered(owner, pictures),
    ]
    NAMES["slugs"] = dict(
        zip(("planned", "proofing", "finishing", "delivered"), [one.slug for one in sittings], strict=True)
    )
    # An archive restored beside its sitting would have brought the same key.
    Sitting.objects.filter(pk=sittings[0].pk).update(tracer_key=sittings[3].tracer_key)
    jobs_in_every_state(sittings[1])
    files, contents = files_of_rows()
    models = [User, *apps.get_app_config("galleries").get_models()]
    rows = [row for model in models for row in serializers.serialize("python", model._base_manager.order_by("pk"))]
    newest = MigrationRecorder.Migration.objects.filter(app="galleries").latest("name").name
    body = {"release": release, "migration": newest, "names": NAMES, "files": files}

    def line(value: Any) -> str:
        return json.dumps(value, cls=DjangoJSONEncoder, ensure_ascii=False, separators=(",", ":"))

    parts = [f'"{name}": {line(body[name])}' for name in ("release", "migration", "names", "files")]
    parts.append('"contents": {\n' + ",\n".join(f'"{key}": "{data}"' for key, data in contents.items()) + "\n}")
    parts.append('"rows": [\n' + ",\n".join(line(row) for row in rows) + "\n]")
    Path(target).write_text("{" + ",\n".join(parts) + "}\n", encoding="utf-8")


main()
