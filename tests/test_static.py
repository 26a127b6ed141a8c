"""Static files are compressed once, not again at each start; what is not whole beside its file is made anew."""

from __future__ import annotations

import gzip
from pathlib import Path

import brotli
import pytest
from django.contrib.staticfiles.storage import StaticFilesStorage
from whitenoise.compress import Compressor

from portal.static import StaticFiles

STYLE = b"body { margin: 0; padding: 0 } " * 40


def collect(source: Path, target: Path) -> dict[str, str]:
    """As collectstatic does: each file's name and the one it goes by."""
    names = [path.name for path in source.iterdir()]
    for name in names:
        (target / name).write_bytes((source / name).read_bytes())
    there = StaticFilesStorage(location=source)
    processed = StaticFiles(location=target).post_process({name: (there, name) for name in names})
    return {name: to for name, to, _ in processed if to and name in names and Path(to).suffix == Path(name).suffix}


@pytest.fixture
def compressed(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The names of what is compressed, as it happens."""
    names: list[str] = []
    compress = Compressor.compress
    monkeypatch.setattr(
        Compressor, "compress", lambda self, path: [names.append(Path(path).name), compress(self, path)][1]
    )
    return names


def test_only_what_changed_or_is_broken_is_compressed_again(tmp_path: Path, compressed: list[str]) -> None:
    source, target = tmp_path / "source", tmp_path / "target"
    source.mkdir()
    target.mkdir()
    (source / "a.css").write_bytes(STYLE)
    (source / "b.js").write_bytes(b"export const number = 1;\n" * 40)
    first = collect(source, target)
    assert sorted(compressed) == sorted([first["a.css"], first["b.js"]])  # nobody asks for the others
    compressed.clear()
    assert collect(source, target).items() >= {("a.css", first["a.css"]), ("b.js", first["b.js"])}
    assert compressed == []

    (source / "a.css").write_bytes(STYLE + b"a { color: red }")
    broken = target / f"{first['b.js']}.br"  # as a start that was killed leaves it
    broken.write_bytes(broken.read_bytes()[:20])
    second = collect(source, target)
    assert second["a.css"] != first["a.css"]
    assert sorted(compressed) == sorted([second["a.css"], first["b.js"]])
    for name in (second["a.css"], first["b.js"]):
        whole = (target / name).read_bytes()
        assert brotli.decompress((target / f"{name}.br").read_bytes()) == whole
        assert gzip.decompress((target / f"{name}.gz").read_bytes()) == whole
