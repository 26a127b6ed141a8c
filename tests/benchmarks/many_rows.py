"""Rows by the ten thousand, for benchmarks: sittings with looks, frames, proofs and marks that share one picture."""

from __future__ import annotations

import copy
import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tests import servers

if TYPE_CHECKING:
    from django.contrib.auth.models import User

    from galleries.models import Frame, Invite, Look, Sitting

BEGAN = datetime(2026, 3, 2, 10, 0, tzinfo=UTC)
LOOKS, RUN = 8, 4  # looks of a sitting; frames of one run
BATCH = 2_000


@dataclass(frozen=True)
class Filled:
    """A sitting and its people, with so many frames."""

    sitting: Sitting
    subject: Invite
    agent: Invite
    frames: list[Frame]


@contextmanager
def portal(**more: str) -> Iterator[Path]:
    """A site of its own in a temporary folder: PostgreSQL, queue, tables; Django is set up for it in this process."""
    with tempfile.TemporaryDirectory(prefix="portal-bench-") as folder, servers.postgresql_server() as database:
        home = Path(folder)
        for name in [name for name in os.environ if name.startswith("PORTAL_")]:
            del os.environ[name]
        os.environ.update(
            PORTAL_HOME=folder, PORTAL_DATABASE=database.address, DJANGO_SETTINGS_MODULE="portal.settings", **more
        )
        with servers.queue_server(home):
            import django

            django.setup()
            from django.core.management import call_command
            from django.db import connections

            import galleries.tasks  # noqa: F401
            from galleries.steps.delivering import sizes

            call_command("migrate", verbosity=0)
            sizes.load()
            call_command("collectstatic", verbosity=0, interactive=False)
            try:
                yield home
            finally:
                connections.close_all()


def fill(owner: User, slug: str, count: int, *, remarks: bool = True) -> Filled:
    """A sitting in which picks are given, with `count` proofs in eight looks; of ten frames the subject marks four and
    the agent three, two of which are the same."""
    from django.utils import timezone

    from galleries.models import Frame, Invite, Look, Proof, Remark, Sitting

    sitting = Sitting.objects.create(
        slug=slug, title=slug.title(), photographer=owner, stage=Sitting.Stage.AGREEING, subject_given="Ansa",
        subject_surname="Veld", published_at=BEGAN, deadline=(timezone.now() + timedelta(days=7)).date(),
    )  # fmt: skip
    sitting.rounds.create(number=1)
    expires = timezone.now() + timedelta(days=30)
    subject, agent = (
        Invite.objects.create(
            sitting=sitting, role=role, name=name, email=f"{role}@veld.example", expires_at=expires,
            last_seen_at=timezone.now() + timedelta(days=1),
        )
        for role, name in ((Invite.Role.SUBJECT, "Ansa Veld"), (Invite.Role.REPRESENTATION, "Ruben Achterberg"))
    )  # fmt: skip
    looks = Look.objects.bulk_create(
        Look(sitting=sitting, title=f"Look {place + 1}", position=place,
             purpose=Look.Purpose.CASTING if place % 2 else Look.Purpose.PORTFOLIO)
        for place in range(LOOKS)
    )  # fmt: skip
    frames = Frame.objects.bulk_create((_frame(sitting, looks, number, count) for number in range(count)), BATCH)
    keys = _shared_picture()
    Proof.objects.bulk_create(
        (
            Proof(
                frame=frame, recipe="p-bench", large_key=keys[0], large_width=1600, large_height=2400,
                middle_key=keys[0], small_key=keys[1], small_width=320, small_height=480,
            )
            for frame in frames
        ),
        BATCH,
    )  # fmt: skip
    _marks(frames, subject, agent)
    if remarks:
        Remark.objects.bulk_create(
            Remark(frame=frame, invite=subject, who=subject.name, text="The left one.") for frame in frames[::50]
        )
    return Filled(sitting, subject, agent, frames)


def _frame(sitting: Sitting, looks: list[Look], number: int, count: int) -> Frame:
    from galleries.models import Frame

    digest = f"{sitting.pk:032x}{number:032x}"
    return Frame(
        sitting=sitting, look=looks[number * LOOKS // count], sha256=digest, key=f"originals/{digest}.jpg",
        name=f"KAL_{number + 1:04d}.JPG", number=number + 1, bytes=14_000_000, file_format="JPEG", width=4000,
        height=6000, captured_at=BEGAN + timedelta(seconds=5 * number), reading=reading(number), reading_version=1,
        run=number // RUN, run_place=number % RUN,
    )  # fmt: skip


def reading(number: int) -> dict[str, Any]:
    """As the program reads a frame; each a little different, so that none is the other's twin."""
    from tests.web.invitee.sheets import READING

    read = copy.deepcopy(READING)
    face = read["face"]
    assert isinstance(face, dict)
    face["right_openness"] = face["left_openness"] = 0.2 + (number * 37 % 100) / 500
    face["yaw_hint"] = (number * 61 % 100) / 100 - 0.5
    face["roll_deg"] = (number * 17 % 100) / 10 - 5
    face["mouth"] = [2000, 2450 + number * 13 % 100]
    return {**read, "hash": f"{number * 2654435761 % 2**64:016x}", "sharpness": 0.5 + (number * 29 % 100) / 200}


def _shared_picture() -> tuple[str, str]:
    from galleries import storage
    from tests.web.invitee.sheets import picture

    keys = ("sittings/shared/proof/shared.jpg", "sittings/shared/small/shared.jpg")
    for key, size in zip(keys, ((1600, 2400), (320, 480)), strict=True):
        if not storage.proofs().exists(key):
            storage.put(storage.proofs(), key, picture(*size))
    return keys


def _marks(frames: list[Frame], subject: Invite, agent: Invite) -> None:
    from galleries.models import Mark

    def kind(invite: Invite, place: int) -> str:
        if invite is subject:
            return {0: Mark.Kind.PICK, 3: Mark.Kind.PICK, 6: Mark.Kind.ALTERNATE, 9: Mark.Kind.STRIKE}.get(place, "")
        return {0: Mark.Kind.PICK, 5: Mark.Kind.PICK, 6: Mark.Kind.ALTERNATE}.get(place, "")

    Mark.objects.bulk_create(
        (
            Mark(frame=frame, invite=invite, by=invite, kind=mark, acted_at=BEGAN, note="Tie?" if n % 90 == 0 else "")
            for n, frame in enumerate(frames)
            for invite in (subject, agent)
            if (mark := kind(invite, n % 10))
        ),
        BATCH,
    )


def crowd_of(owner: User, count: int, each: int) -> None:
    """So many further sittings with so many frames each."""
    for number in range(count):
        fill(owner, f"another-{number}", each, remarks=False)
