"""Static files under names that carry their content's hash, module imports between scripts included."""

from __future__ import annotations

import gzip
import zlib
from collections.abc import Iterable, Iterator
from functools import partial
from pathlib import Path
from typing import Any

import brotli
from whitenoise.compress import Compressor
from whitenoise.storage import CompressedManifestStaticFilesStorage


class StaticFiles(CompressedManifestStaticFilesStorage):  # type: ignore[misc]  # whitenoise carries no types
    """`import './x.js'` inside our modules is rewritten to the hashed name, so that they may be cached for good."""

    support_js_module_import_aggregation = True
    _quality = 11

    def post_process(self, *args: Any, **options: Any) -> Iterator[Any]:
        """Public by nature: a proxy of another user may read what was collected, whatever the site's umask."""
        yield from super().post_process(*args, **options)
        for path in [Path(self.location), *Path(self.location).rglob("*")]:
            path.chmod(0o755 if path.is_dir() else 0o644)

    def compress_files(self, paths: Iterable[str]) -> Iterator[tuple[str, str]]:
        """Only what is not there already, compressed from the same bytes, and under the names that pages ask for. What
        no invited person loads, the framework's pages of upkeep, is packed quickly: it took two seconds in three."""
        asked_for = set(paths) & {self.clean_name(name) for name in self.hashed_files.values()}
        wanted = {path for path in asked_for if not _is_compressed(Path(self.path(path)))}
        upkeep = {path for path in wanted if path.startswith("admin/")}
        for some, self._quality in ((wanted - upkeep, 11), (upkeep, 6)):
            yield from super().compress_files(some)

    def create_compressor(self, **options: Any) -> Compressor:
        compressor = super().create_compressor(**options)
        compressor.compress_brotli = partial(brotli.compress, quality=self._quality)
        return compressor


def _is_compressed(path: Path) -> bool:
    """Both forms lie beside it whole; unpacking is far quicker than packing, and a broken one does not unpack."""
    data = path.read_bytes()
    try:
        return (
            brotli.decompress(Path(f"{path}.br").read_bytes()) == data
            and gzip.decompress(Path(f"{path}.gz").read_bytes()) == data
        )
    except (OSError, EOFError, zlib.error, brotli.error):
        return False
