"""A command and the web load what they use: nobody waits for the client of a bucket to read a help text."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
HEAVY = ("numpy", "cv2", "PIL", "pyvips", "onnxruntime", "reportlab", "botocore", "redis", "celery", "exiv2")
# These serve a single request (a proposal, a question to the queue or the kernel), and cost memory or time in all.
RARE = ("scipy", "kombu", "galleries.imaging.contained.cage")
# What is loaded beyond the site's own start; grows only with what the command truly does.
USES = {"sizes": set(), "verify": set(), "retention": set(), "photographer": set(), "agreed": set()}
# Of the heavy and rare ones, what the web's pages load before anybody asks for one.
PAGES = {"numpy", "cv2", "PIL", "pyvips", "reportlab", "exiv2", "galleries.imaging.contained.cage"}


def test_the_help_of_a_command_is_read_without_the_tables(tmp_path: Path) -> None:
    code = "import sys, manage\nmanage.main()\nsys.exit(int('galleries.models' in sys.modules))"
    command = [sys.executable, "-c", code, "agreed", "--help"]
    env = {**os.environ, "PORTAL_HOME": str(tmp_path)}
    ran = subprocess.run(command, cwd=ROOT, env=env, check=True, capture_output=True, text=True)
    assert "manage.py agreed ansa-veld --csv" in ran.stdout


def test_commands_and_pages_load_only_what_they_use(tmp_path: Path) -> None:
    modules = {name: f"galleries.management.commands.{name}" for name in USES} | {"the pages": "portal.urls"}
    code = (
        "import importlib, json, os, sys, django\n"
        "django.setup()\n"
        f"watched = {HEAVY + RARE}\n"
        "print(json.dumps(['the start', [one for one in watched if one in sys.modules]]), flush=True)\n"
        f"for name, module in {modules}.items():\n"
        "    if os.fork() == 0:\n"  # each from the same start, without paying for it again
        "        importlib.import_module(module)\n"
        "        print(json.dumps([name, [one for one in watched if one in sys.modules]]), flush=True)\n"
        "        os._exit(0)\n"
        "    os.wait()\n"
    )
    env = {**os.environ, "DJANGO_SETTINGS_MODULE": "portal.settings", "PORTAL_HOME": str(tmp_path)}
    ran = subprocess.run([sys.executable, "-c", code], cwd=ROOT, env=env, check=True, capture_output=True, text=True)
    seen = {name: set(loaded) for name, loaded in map(json.loads, ran.stdout.splitlines())}
    assert seen == {"the start": set(), **USES, "the pages": PAGES}
