"""The list of what a delivery holds: for people, for programs, and for `sha256sum -c`."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass

FORMAT, FORMAT_VERSION = "headshot-manifest", 1


@dataclass(frozen=True)
class FileEntry:
    """One delivered file.

    `use` says what it is for ('for a casting upload, portrait'); `size` is in bytes; 0 pixels = no picture; `caution`
    is what whoever uses it should know ('Enlarged 1.6 times: …').
    """

    name: str
    sha256: str
    size: int
    width: int = 0
    height: int = 0
    use: str = ""
    caution: str = ""

    def __post_init__(self) -> None:
        parts = self.name.split("/")
        if (
            not self.name
            or "\\" in self.name
            or any(p in ("", ".", "..") for p in parts)
            or not self.name.isprintable()
        ):
            raise ValueError(f"{self.name!r} can't be the name of a delivered file.")
        if len(self.sha256) != 64 or set(self.sha256) - set("0123456789abcdef"):
            raise ValueError(f"The checksum of {self.name!r} is not a SHA-256 in lower-case hexadecimal.")

    @classmethod
    def of(cls, name: str, data: bytes, width: int = 0, height: int = 0, use: str = "") -> FileEntry:
        """The entry of a file in memory."""
        return cls(name, hashlib.sha256(data).hexdigest(), len(data), width, height, use)


def sha256sums(entries: Sequence[FileEntry]) -> str:
    """Lines that GNU coreutils' `sha256sum -c` reads, in order of name."""
    return "".join(f"{entry.sha256}  {entry.name}\n" for entry in _sorted(entries))


def manifest_text(title: str, entries: Sequence[FileEntry]) -> str:
    """The list for people: name, use, pixels, bytes, checksum."""
    lines = [title, "=" * len(title), ""]
    for entry in _sorted(entries):
        pixels = f"{entry.width} × {entry.height} px, " if entry.width else ""
        use = f" ({entry.use})" if entry.use else ""
        caution = [f"    {entry.caution}"] if entry.caution else []
        lines += [
            f"{entry.name}{use}",
            f"    {pixels}{entry.size:,} bytes",
            *caution,
            f"    SHA-256 {entry.sha256}",
            "",
        ]
    total = sum(entry.size for entry in entries)
    count = f"{len(entries)} file{'' if len(entries) == 1 else 's'}"
    return "\n".join([*lines, f"{count}, {total:,} bytes in all.", ""])


def manifest_json(title: str, entries: Sequence[FileEntry]) -> str:
    """The list for programs, sorted and versioned."""
    body = {
        "format": FORMAT,
        "format_version": FORMAT_VERSION,
        "title": title,
        "files": [asdict(entry) for entry in _sorted(entries)],
    }
    return json.dumps(body, indent=2, sort_keys=True, ensure_ascii=False) + "\n"


def entries_from_json(text: str) -> list[FileEntry]:
    """The inverse of `manifest_json`; raises ValueError with a sentence."""
    try:
        body = json.loads(text)
        if (body["format"], body["format_version"]) != (FORMAT, FORMAT_VERSION):
            raise ValueError("This is not a manifest this program can read.")
        return [FileEntry(**item) for item in body["files"]]
    except (KeyError, TypeError) as error:
        raise ValueError(f"The manifest is incomplete: {error}.") from error


def _sorted(entries: Sequence[FileEntry]) -> list[FileEntry]:
    names = [entry.name for entry in entries]
    if len(set(names)) != len(names):
        raise ValueError("Two files of the delivery have the same name.")
    return sorted(entries, key=lambda entry: entry.name)
