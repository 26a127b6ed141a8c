"""A command loads what it uses: nobody waits for the client of a bucket to read a help text."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
HEAVY = ("numpy", "cv2", "PIL", "pyvips", "onnxruntime", "reportlab", "botocore", "redis", "celery", "exiv2")
# What is loaded beyond the site's own start; grows only with what the command truly does.
USES = {"sizes": set(), "verify": set(), "retention": set(), "photographer": set(), "agreed": set()}


def test_commands_load_only_what_they_use(tmp_path: Path) -> None:
    code = (
        "import importlib, json, os, sys, django\n"
        "django.setup()\n"
        f"loaded = {{'the start': [name for name in {HEAVY} if name in sys.modules]}}\n"
        f"for name in {list(USES)}:\n"
        "    if os.fork() == 0:\n"  # each from the same start, without paying for it again
        "        importlib.import_module(f'galleries.management.commands.{name}')\n"
        f"        print(json.dumps([name, [one for one in {HEAVY} if one in sys.modules]]), flush=True)\n"
        "        os._exit(0)\n"
        "    os.wait()\n"
        "print(json.dumps(['the start', loaded['the start']]))\n"
    )
    env = {**os.environ, "DJANGO_SETTINGS_MODULE": "portal.settings", "PORTAL_HOME": str(tmp_path)}
    ran = subprocess.run([sys.executable, "-c", code], cwd=ROOT, env=env, check=True, capture_output=True, text=True)
    seen = {name: set(loaded) for name, loaded in map(json.loads, ran.stdout.splitlines())}
    assert seen == {"the start": set(), **USES}
