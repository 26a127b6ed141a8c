"""A command and the web load what they use: nobody waits for the client of a bucket to read a help text."""

from __future__ import annotations

import ast
import json
import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
FOLDER = ROOT / "galleries/management/commands"
COMMANDS = sorted(path.stem for path in FOLDER.glob("*.py") if path.stem != "__init__")
HEAVY = ("numpy", "cv2", "PIL", "pyvips", "onnxruntime", "reportlab", "botocore", "redis", "celery", "exiv2")
# These serve a single request (a proposal, a question to the queue or the kernel), and cost memory or time in all.
RARE = ("scipy", "kombu", "galleries.imaging.contained.cage")
TABLES = ("galleries.models", "galleries.admin")
CAGE, READING = "galleries.imaging.contained.cage", {"numpy", "cv2", "PIL"}
WORK = {*READING, "pyvips", "celery", "kombu", CAGE}  # every kind of work of the queue, done here
# What is loaded beyond the site's own start; grows only with what the command truly does.
USES: dict[str, set[str]] = {
    name: modules
    for names, modules in (
        ("agreed sizes verify retention restore photographer signing-certificate move-database move-files", set()),
        ("ingest watch rights", {CAGE}),
        ("cut cut-file frame-report", {*READING, "pyvips", CAGE}),
        ("looks", {"numpy"}),
        ("trace", {*READING, CAGE}),
        ("proofs deliver", WORK),
        ("demo rehearse", {*WORK, "scipy"}),
    )
    for name in names.split()
}
# Of the heavy and rare ones, what the web's pages load before anybody asks for one.
PAGES = {"numpy", "cv2", "PIL", "pyvips", "reportlab", CAGE}


def test_the_help_of_every_command_is_read_without_the_tables(tmp_path: Path) -> None:
    code = (
        "import json, os, sys, manage\n"
        "import django.core.management.base\n"
        f"for name in {COMMANDS}:\n"
        "    if os.fork() == 0:\n"
        "        sys.argv = ['manage.py', name, '--help']\n"
        "        manage.main()\n"
        f"        heavy = [one for one in {HEAVY + RARE + TABLES} if one in sys.modules]\n"
        "        print('\\n' + json.dumps([name, heavy]), flush=True)\n"
        "        os._exit(0)\n"
        "    os.wait()\n"
    )
    env = {**os.environ, "PORTAL_HOME": str(tmp_path)}
    ran = subprocess.run([sys.executable, "-c", code], cwd=ROOT, env=env, check=True, capture_output=True, text=True)
    told = dict(json.loads(line) for line in ran.stdout.splitlines() if line.startswith("["))
    assert told == {name: [] for name in COMMANDS}
    for name in COMMANDS:
        assert f"manage.py {name}" in ran.stdout, name


def imported(name: str) -> list[str]:
    """What a command's functions import when it does its work: modules, or names out of them."""
    tree = ast.parse((FOLDER / f"{name}.py").read_text())
    inside = [node for node in ast.walk(tree) if isinstance(node, ast.Import | ast.ImportFrom) and node.col_offset]
    names = {alias.name for node in inside if isinstance(node, ast.Import) for alias in node.names}
    for node in inside:
        if isinstance(node, ast.ImportFrom):
            whole = [f"{node.module}.{alias.name}" for alias in node.names]
            names |= {one if (ROOT / f"{one.replace('.', '/')}.py").is_file() else str(node.module) for one in whole}
    return sorted(names)


def test_commands_and_pages_load_only_what_they_use(tmp_path: Path) -> None:
    modules = {name: imported(name) for name in USES} | {"the pages": ["portal.urls"]}
    code = (
        "import importlib, json, os, sys, django\n"
        "django.setup()\n"
        f"watched = {HEAVY + RARE}\n"
        "print(json.dumps(['the start', [one for one in watched if one in sys.modules]]), flush=True)\n"
        f"for name, names in {modules}.items():\n"
        "    if os.fork() == 0:\n"  # each from the same start, without paying for it again
        "        list(map(importlib.import_module, names))\n"
        "        print(json.dumps([name, [one for one in watched if one in sys.modules]]), flush=True)\n"
        "        os._exit(0)\n"
        "    os.wait()\n"
    )
    env = {**os.environ, "DJANGO_SETTINGS_MODULE": "portal.settings", "PORTAL_HOME": str(tmp_path)}
    ran = subprocess.run([sys.executable, "-c", code], cwd=ROOT, env=env, check=True, capture_output=True, text=True)
    assert sorted(USES) == COMMANDS
    seen = {name: set(loaded) for name, loaded in map(json.loads, ran.stdout.splitlines())}
    assert seen == {"the start": set(), **USES, "the pages": PAGES}
