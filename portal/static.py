"""Static files under names that carry their content's hash, module imports between scripts included."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from whitenoise.storage import CompressedManifestStaticFilesStorage


class StaticFiles(CompressedManifestStaticFilesStorage):  # type: ignore[misc]  # whitenoise carries no types
    """`import './x.js'` inside our modules is rewritten to the hashed name, so that they may be cached for good."""

    support_js_module_import_aggregation = True

    def post_process(self, *args: Any, **options: Any) -> Iterator[Any]:
        """Public by nature: a proxy of another user may read what was collected, whatever the site's umask."""
        yield from super().post_process(*args, **options)
        for path in [Path(self.location), *Path(self.location).rglob("*")]:
            path.chmod(0o755 if path.is_dir() else 0o644)
