"""Derived pictures are kept under their recipe's version: other bytes without a new version would never be made.

The digests are of this code's own output (`golden`), so that nothing but the recipes counts. They hang on the locked
versions of the libraries too: an upgrade that changes bytes asks for new versions as well.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from galleries.imaging import recipes, versions
from tests.imaging import golden

ROOT = Path(__file__).resolve().parents[2]
# Recipe → (its version, SHA-256 of what it makes). Never change a digest without raising the version in
# `versions.VERSIONS`: sites keep what the version before made.
GOLDEN: dict[str, tuple[int, str]] = {
    "proof": (6, "39418bffc29508b3d0e75334810f8cbca17c44fd83aa548c669ce47da660e93e"),
    "view": (1, "e679f7b2af52a6eb5a540ba41f5fe4599aaebc085ee385f7ae929fb57e938652"),
    "loupe": (1, "51d7c94a3b6e7c665c25f6db871d4e285b40cafde06c70733b5ece50103304ca"),
    "preview": (2, "750cd85e18d25cf2ed97057052246993be8e0c41bc7d83daff112f4eac09ee26"),
    "pairs": (1, "0bfb4bf2897c8cdaff759865276db42196cbc65de775c8bcc82f5c114155eb14"),
    "marked": (1, "e5bc2d1cbc7106bbcb11e857c446789aa2a34f999f703a62df14cc0a7c26fe69"),
    "final": (3, "eb701203db286cdca48343f1d5265f26d0ac4ac736c7783eba755904a33fa9cd"),
}


@pytest.fixture(scope="module")
def made() -> dict[str, str]:
    done = subprocess.run(
        [sys.executable, "-m", "tests.imaging.golden"],
        cwd=ROOT, env={**os.environ, **golden.PLAIN}, check=True, capture_output=True, text=True, timeout=120,
    )  # fmt: skip
    digests: dict[str, str] = json.loads(done.stdout)
    return digests


def test_every_recipe_is_here(made: dict[str, str]) -> None:
    assert set(GOLDEN) == set(made) == set(versions.VERSIONS)


@pytest.mark.parametrize("recipe", sorted(versions.VERSIONS))
def test_other_bytes_ask_for_a_new_version(recipe: str, made: dict[str, str]) -> None:
    now = (versions.VERSIONS[recipe], made[recipe])
    assert now == GOLDEN[recipe], f"the recipe '{recipe}' makes other bytes: raise its version, then note {now}"


@pytest.mark.parametrize(
    ("recipe", "part"),
    [("view", "VIEW_QUALITY"), ("proof", "PROOF_QUALITY"), ("proof", "MIDDLE_QUALITY"), ("proof", "SMALL_QUALITY")],
)
def test_a_changed_recipe_is_seen(recipe: str, part: str, monkeypatch: pytest.MonkeyPatch) -> None:
    before = golden.digest(recipe)
    monkeypatch.setattr(recipes, part, getattr(recipes, part) - 1)
    assert golden.digest(recipe) != before
