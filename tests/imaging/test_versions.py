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
    "proof": (11, "99932c839fa238a7ed31ca9e6ba5e3d58f780905e015d08940035b7bb64281a6"),
    "view": (1, "e679f7b2af52a6eb5a540ba41f5fe4599aaebc085ee385f7ae929fb57e938652"),
    "loupe": (2, "6333e3a420994e5791acdd7e6180318d1327b0163e5e889062d823589f13fb95"),
    "preview": (2, "750cd85e18d25cf2ed97057052246993be8e0c41bc7d83daff112f4eac09ee26"),
    "pairs": (1, "0bfb4bf2897c8cdaff759865276db42196cbc65de775c8bcc82f5c114155eb14"),
    "marked": (1, "e5bc2d1cbc7106bbcb11e857c446789aa2a34f999f703a62df14cc0a7c26fe69"),
    "final": (4, "f9bc42f422d9983116af9382952d38cf337aaa78fc5582e114baefc707bf55af"),
}


# What fresh memory is filled with (glibc's mallopt(3), M_PERTURB): two values tell of bytes that nobody wrote.
FRESH_MEMORY = ("85", "170")


def run_in(fresh_memory: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "tests.imaging.golden"], stdout=subprocess.PIPE, text=True, cwd=ROOT,
        env={**os.environ, **golden.PLAIN, "MALLOC_PERTURB_": fresh_memory},
    )  # fmt: skip


@pytest.fixture(scope="module")
def runs() -> list[dict[str, str]]:
    return [json.loads(run.communicate(timeout=120)[0]) for run in [run_in(value) for value in FRESH_MEMORY]]


@pytest.fixture(scope="module")
def made(runs: list[dict[str, str]]) -> dict[str, str]:
    return runs[0]


def test_no_byte_of_a_picture_hangs_on_memory_that_nobody_wrote(runs: list[dict[str, str]]) -> None:
    first, second = runs
    assert first == second


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
