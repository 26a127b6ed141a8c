"""What tests need from outside the project. A program, package or file that is missing fails the test that needs it.

One exception: the data of `../shared`, which a clone elsewhere does not have. There its tests are skipped and say so;
in CI, which has it, they fail.
"""

from __future__ import annotations

import importlib.util
import os
import shutil
from pathlib import Path

import pytest

SHARED = Path(__file__).resolve().parents[2] / "shared" / "data"
DEBIAN_PROFILES = Path("/usr/share/color/icc")
MISSING = "{} is missing: run deploy/packages test (Debian) and deploy/environment test (Python)."


def program(name: str) -> str:
    """The path of a program, such as `exiftool`."""
    path = shutil.which(name)
    assert path is not None, MISSING.format(name)
    return path


def profile(name: str) -> bytes:
    """A colour profile of Debian's icc-profiles-free or, below `colord/`, of colord-data."""
    path = DEBIAN_PROFILES / name
    assert path.is_file(), MISSING.format(path)
    return path.read_bytes()


def packaged(package: str, name: str) -> Path:
    """A file inside a Python package."""
    spec = importlib.util.find_spec(package)
    assert spec is not None, MISSING.format(package)
    path = Path(next(iter(spec.submodule_search_locations or [""]))) / name
    assert path.is_file(), MISSING.format(path)
    return path


def here(name: str) -> bool:
    """Is this file or folder of `../shared/data` there? In CI it has to be."""
    there = (SHARED / name).exists()
    assert there or not os.environ.get("CI"), f"{SHARED / name} is missing"
    return there


def shared(name: str) -> Path:
    """A file or folder of `../shared/data`."""
    if not here(name):
        pytest.skip(f"{SHARED / name} is not there")
    return SHARED / name
