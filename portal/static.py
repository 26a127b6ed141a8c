"""Static files under names that carry their content's hash, module imports between scripts included."""

from __future__ import annotations

from whitenoise.storage import CompressedManifestStaticFilesStorage


class StaticFiles(CompressedManifestStaticFilesStorage):  # type: ignore[misc]  # whitenoise carries no types
    """`import './x.js'` inside our modules is rewritten to the hashed name, so that they may be cached for good."""

    support_js_module_import_aggregation = True
