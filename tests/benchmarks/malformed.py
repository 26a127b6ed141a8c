"""`python -m tests.benchmarks malformed FOLDER [FOLDER ...]`: every file of a folder through ingest, proof and rights.

For the test folders of metadata and picture libraries: source packages of Debian or PyPI, unpacked (`apt-get source
--download-only exiv2 libexif`; Pillow's sdist). On tables in memory and a store of its own; nothing is kept. A file
becomes a frame or gets a sentence; whatever else happens is trouble, named by its file, and the exit status is 1.
"""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from tests.conftest import HOME  # a site of its own, as the tests have
from tests.servers import queue_server

# Codes of the child's own end: a sentence for people, for us a fault to be looked into.
TROUBLE = ("contained.stopped", "contained.took_too_long", "contained.no_sound_answer", "contained.damaged_unforeseen")


@dataclass(frozen=True)
class Took:
    """What became of one file: `frame` or the code of its refusal; the proof's and the rights' codes, '' if good."""

    ingested: str
    proof: str
    rights: str
    seconds: float

    @property
    def troubles(self) -> list[str]:
        return [code for code in (self.ingested, self.proof, self.rights) if code in TROUBLE or code.startswith("!")]


def main(argv: Sequence[str] = ()) -> int:
    from django.db import connection
    from django.test.utils import setup_test_environment

    setup_test_environment()
    connection.creation.create_test_db(verbosity=0, autoclobber=True, serialize=False)
    from tests.cast import make_cast

    cast, status = make_cast(stage="planning"), 0
    with queue_server(HOME):
        for folder in map(Path, argv):
            paths = sorted(path for path in folder.rglob("*") if path.is_file())
            by_path = {path: through(cast, path) for path in paths}
            status |= _tell(folder, by_path)
    return status


def through(cast: object, path: Path) -> Took:
    """One file through all three, and both what is kept and what is told about it looked at."""
    from galleries import storage
    from galleries.errors import DomainError
    from galleries.imaging.contained import door
    from galleries.imaging.errors import ImagingError
    from galleries.models import Refusal
    from galleries.steps.ingesting import ingest, proof

    def code(ask: object) -> str:
        try:
            ask()  # type: ignore[operator]
        except ImagingError as error:
            return str(error.told.code)
        except Exception as error:  # noqa: BLE001 - whatever it is, it is told, and the next file comes
            return f"!{type(error).__name__}: {error}"
        return ""

    started, frame = time.monotonic(), None
    try:
        outcome = ingest.add_frame(cast.sitting, path, path.name, cast.as_owner)  # type: ignore[attr-defined]
        frame = outcome.frame
        ingested = "frame" if frame else str(outcome.told.code if outcome.told else "!no reason")
        if frame is not None and storage.get(storage.private(), frame.key) != path.read_bytes():
            ingested = "!the original is not what was sent"
        if frame is None and not Refusal.objects.filter(name=outcome.name, bytes=path.stat().st_size).exists():
            ingested = "!neither a frame nor in the list of what was refused"
    except (DomainError, OSError) as error:
        ingested = f"!{type(error).__name__}: {error}"
    proof_error = code(lambda: proof.render(frame.pk)) if frame else ""
    return Took(ingested, proof_error, code(lambda: door.read_rights(path)), time.monotonic() - started)


def _tell(folder: Path, by_path: dict[Path, Took]) -> int:
    slowest = max(by_path, key=lambda path: by_path[path].seconds)
    print(f"{folder}: {len(by_path)} files, {sum(took.seconds for took in by_path.values()):.0f} s in all; ", end="")
    print(f"the slowest, {slowest.name}, took {by_path[slowest].seconds:.1f} s")
    for what in ("ingested", "proof", "rights"):
        counts = Counter(getattr(took, what) or "good" for took in by_path.values())
        print(f"  {what:9}", ", ".join(f"{name} {count}" for name, count in counts.most_common()))
    troubled = {path: took for path, took in by_path.items() if took.troubles}
    for path, took in troubled.items():
        print(f"  trouble: {path.relative_to(folder)}: {'; '.join(took.troubles)}")
    return int(bool(troubled))
