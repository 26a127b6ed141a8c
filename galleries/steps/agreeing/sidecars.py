"""The agreed list as XMP sidecars, so that any raw converter finds the raw files on the photographer's disk."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Sequence
from pathlib import Path

from galleries.models import Final
from galleries.papers.sidecar import sidecar
from galleries.steps.agreeing.agree import names_of

AGREED_RATING = 5  # xmp:Rating is -1 to 5 (ISO 16684-1); the list is closed, so its frames get the highest
KEYWORD = "agreed"


def sidecars(finals: Sequence[Final]) -> dict[str, str]:
    """File name → text, one per camera file name: a frame that came as JPEG and TIFF has one sidecar."""
    texts: dict[str, str] = {}
    for final in finals:
        look = final.frame.look
        words = [KEYWORD, *([look.title] if look is not None else [])]
        for name in names_of(final.frame, endings=False):
            texts.setdefault(f"{name}.xmp", sidecar(AGREED_RATING, words))
    return texts


def as_zip(finals: Sequence[Final]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in sidecars(finals).items():
            archive.writestr(zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0)), text)
    return out.getvalue()


def write_into(folder: Path, finals: Sequence[Final]) -> list[Path]:
    """Write them into a folder; a sidecar that is there already (an editor's own work) is left alone.

    Returns the files written.
    """
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for name, text in sidecars(finals).items():
        path = folder / name
        try:
            with open(path, "x", encoding="utf-8") as file:
                file.write(text)
        except FileExistsError:
            continue
        written.append(path)
    return written
