#!/usr/bin/env python3
"""Django's command line for the portal."""

import os
import sys
from importlib import import_module


def helped() -> bool:
    """The help of one of our own commands, where it can be read without the tables: in a third of the time."""
    if len(sys.argv) != 3 or sys.argv[2] not in {"-h", "--help"}:
        return False
    from django.core.exceptions import AppRegistryNotReady, ImproperlyConfigured

    try:
        command = import_module(f"galleries.management.commands.{sys.argv[1]}").Command()
    except (AppRegistryNotReady, ImproperlyConfigured, ModuleNotFoundError):
        return False  # the long way
    command.print_help(os.path.basename(sys.argv[0]), sys.argv[1])
    return True


def begin_to_decode() -> None:
    """Of a card, decoders are loaded beside Django, not after it. As patient as the worker: else the first proof would
    wait until the last file is verified."""
    if sys.argv[1:2] not in (["ingest"], ["watch"]):
        return
    from galleries.imaging.contained import forkserver
    from portal import niceness

    niceness.step_back()
    if not os.environ.get("PORTAL_DECODER_SOCKET"):
        forkserver.running()


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "portal.settings")
    if helped():
        return
    begin_to_decode()
    from django.core.management import execute_from_command_line

    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
