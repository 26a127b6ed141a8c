"""What is fuzzed. A target gives its seeds, and takes one input: whatever it raises is a finding.

Loaded in the fuzzing process only, after the site's code was instrumented.
"""

from __future__ import annotations

import io
import json
import logging
import zipfile
import zlib
from abc import ABC, abstractmethod
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from galleries.imaging import errors

SMALL = {"max_bytes": 4_000_000, "max_pixels": 4_000_000, "max_side": 4000}


class Target(ABC):
    # As long as an input may grow, in bytes.
    longest = 40_000
    # May inputs be changed by parts of JSON too?
    is_json = False

    @abstractmethod
    def seeds(self) -> dict[str, bytes]: ...

    @abstractmethod
    def take(self, data: bytes) -> None: ...


class Opener(Target):
    """The child's own entry, in this process: facts, then a decode of every pixel."""

    def __init__(self) -> None:
        from galleries.imaging.contained.entries import ENTRIES
        from galleries.imaging.opening.picture import Limits

        self.verify, self.limits = ENTRIES["verify"].function, Limits(**SMALL)

    def seeds(self) -> dict[str, bytes]:
        from tests.imaging import core_pictures, negatives

        with_exif = core_pictures.saved(core_pictures.painted(40, 30), exif=core_pictures.exif(subsec="12", number=7))
        return {**core_pictures.files(), **negatives.seeds(), "jpeg-exif": with_exif}

    def take(self, data: bytes) -> None:
        with suppress(errors.ImagingError, MemoryError):  # a sentence, which is what such a file is to get
            self.verify(data, self.limits)


class Metadata(Target):
    """Facts of the header with its EXIF, and whatever a file says about its rights."""

    def __init__(self) -> None:
        from galleries.imaging import rights
        from galleries.imaging.contained.entries import ENTRIES
        from galleries.imaging.opening.picture import Limits

        self.read_rights, self.probe, self.limits = rights.read_rights, ENTRIES["probe"].function, Limits(**SMALL)

    def seeds(self) -> dict[str, bytes]:
        from galleries.imaging import rights
        from tests.imaging import core_pictures

        small = core_pictures.painted(24, 16)
        record = rights.RightsRecord(
            creators=("Tamsin Okonedo-Vale",),
            copyright_notice="© 2026 Tamsin Okonedo-Vale",
            licensors=(rights.Licensor(name="Northlight Rooms", url="https://northlight.example"),),
        )
        plain = {kind: core_pictures.saved(small, kind) for kind in ("JPEG", "PNG", "TIFF")}
        exif = core_pictures.saved(small, exif=core_pictures.exif(subsec="5", number=3, space=1, interop="R03"))
        licensed = {f"said-{kind}": rights.write_rights(data, record) for kind, data in plain.items()}
        return {**plain, **licensed, "exif": exif}

    def take(self, data: bytes) -> None:
        for ask in (lambda: self.probe(data, self.limits), lambda: self.read_rights(data)):
            with suppress(errors.ImagingError, MemoryError):
                ask()


class OnTables(Target):
    """With a site's tables in memory; each input's traces are rolled back."""

    def __init__(self) -> None:
        from django.db import connection
        from django.test.utils import override_settings

        override_settings(
            CACHES={"default": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}},
            ALLOWED_HOSTS=["testserver"],
            DOOR_TRIES=10**9,
            PASSWORD_HASHERS=["django.contrib.auth.hashers.MD5PasswordHasher"],
        ).enable()
        logging.disable(logging.CRITICAL)  # a refusal is what most inputs get
        connection.creation.create_test_db(verbosity=0, autoclobber=True, serialize=False)
        self.prepare()

    @abstractmethod
    def prepare(self) -> None:
        """The rows it is about, on tables that are there."""

    def rolled_back(self, act: Callable[[], object]) -> None:
        from django.db import transaction

        with transaction.atomic():
            try:
                act()
            finally:
                transaction.set_rollback(True)


class Archive(OnTables):
    """`restore`: an input that begins like a ZIP is the whole file, any other is its description."""

    is_json = True

    def prepare(self) -> None:
        from galleries.errors import DomainError
        from galleries.steps.keeping import restore

        self.restore, self.domain_error = restore, DomainError
        self.whole, self.head = self._true_one()

    def seeds(self) -> dict[str, bytes]:
        return {"whole": self.whole, "head": self.head}

    def _true_one(self) -> tuple[bytes, bytes]:
        from galleries.steps.keeping import archive_file, erase
        from tests.cast import make_cast

        cast = make_cast()
        look = cast.look()
        frame = cast.frame(1, look, key="")
        frame.marks.create(invite=cast.subject, kind="pick", acted_at="2026-03-14T10:11:12Z")
        cast.sitting.finals.create(frame=frame, round=cast.sitting.rounds.get())
        with TemporaryDirectory() as folder:
            path = Path(folder, "a.zip")
            archive_file.write(cast.sitting, path, cast.as_owner)
            whole = path.read_bytes()
        erase.erase(cast.sitting, cast.as_owner, "fuzzing")
        with zipfile.ZipFile(io.BytesIO(whole)) as archive:
            head = json.dumps(json.loads(archive.read(archive_file.ROWS))).encode()
        return whole, head

    def take(self, data: bytes) -> None:
        from galleries.steps.keeping import archive_file

        if not data.startswith(b"PK"):
            out = io.BytesIO()
            with zipfile.ZipFile(out, "w") as archive:
                archive.writestr(archive_file.ROWS, data)
            data = out.getvalue()

        def act() -> None:
            with TemporaryDirectory() as folder:
                path = Path(folder, "a.zip")
                path.write_bytes(data)
                self.restore.restore(path)

        with suppress(self.domain_error):
            self.rolled_back(act)


class Json(OnTables):
    """JSON bodies, each to every address that takes them: an answer below 500, whatever is sent."""

    is_json = True
    longest = 4000

    def prepare(self) -> None:
        from django.urls import reverse

        from galleries.models import DeliverySize
        from galleries.steps.delivering import sizes
        from tests.cast import make_cast

        cast = make_cast(stage="agreeing")
        look = cast.look()
        self.frames = [cast.frame(number, look) for number in (1, 2, 3)]
        sizes.load()
        final = cast.sitting.finals.create(frame=self.frames[0], round=cast.sitting.rounds.get())
        size = DeliverySize.objects.get(slug="web-square")
        final.crops.create(size=size, x=0, y=0, width=2000, height=2000, frame_width=4000, frame_height=6000)
        self.look = look
        slug = cast.sitting.slug
        subject, owner = cast.client_of(cast.subject), cast.client_of(cast.owner)
        subject.raise_request_exception = owner.raise_request_exception = True
        self.addresses: list[tuple[Any, str]] = [
            (subject, reverse("marks", args=[slug])),
            (subject, reverse("compare", args=[slug])),
            (owner, reverse("studio-upload-known", args=[slug])),
            (owner, reverse("studio-desk-act", args=[slug])),
            (owner, reverse("studio-retouch-known", args=[slug])),
            (owner, reverse("studio-crop-set", args=[slug, final.pk, size.slug])),
        ]

    def seeds(self) -> dict[str, bytes]:
        from galleries.web.studio.desk import ACTS

        first, second = self.frames[0].pk, self.frames[1].pk
        at = "2026-03-14T10:11:12Z"
        bodies: dict[str, Any] = {
            "marks": [{"frame": first, "kind": "pick", "act": "a1", "at": at, "note": "ü", "seen": 1}],
            "marks2": [{"frame": second, "kind": "", "act": "a2"}, {"frame": first, "kind": "strike", "act": "a3"}],
            "order": {"order": [first, second]},
            "known": {"digests": ["0" * 64], "names": {"0" * 64: "KAL_0001.JPG"}},
            "crop": {"do": "set", "x": 100, "y": 200, "width": 1000, "height": 1000, "tilt": 0.5},
        }
        desk: dict[str, Any] = {"frames": [first, second], "frame": first, "look": self.look.pk, "into": self.look.pk}
        desk |= {"title": "T", "hidden": True, "purpose": "casting", "order": [self.look.pk]}
        for do in ACTS:
            bodies[f"desk-{do}"] = {"do": do, **desk}
        numbered = {name: json.dumps(body).encode() for name, body in bodies.items()}
        return {f"{name}-{n}": bytes([n]) + body for name, body in numbered.items() for n in range(6)}

    def take(self, data: bytes) -> None:
        from galleries import plain_json

        client, path = self.addresses[data[0] % len(self.addresses)] if data else self.addresses[0]
        try:
            plain_json.loads(data[1:], mended=True)
        except ValueError:
            if zlib.crc32(data) % 16:  # every view says the same to what is no JSON; a page costs a thousand parses
                return

        def act() -> None:
            kind = "application/json"
            answer = client.post(path, data[1:], content_type=kind, headers={"accept": kind})
            if answer.status_code >= 500:
                raise AssertionError(f"{path} answered {answer.status_code}")

        self.rolled_back(act)


TARGETS: dict[str, type[Target]] = {"opener": Opener, "metadata": Metadata, "archive": Archive, "json": Json}
