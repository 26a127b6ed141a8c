"""deploy/set-signing-certificate: which certificate finals are signed with; another made here, or taken from a file."""

from __future__ import annotations

import argparse
from pathlib import Path

from server import choices, install
from server.machine import Machine, Trouble

ENV = install.ENV


def add_options(verb: argparse.ArgumentParser) -> None:
    one = verb.add_mutually_exclusive_group()
    one.add_argument("--make", action="store_true", help="make another, by the studio itself")
    one.add_argument(
        "--take", nargs=2, metavar=("CHAIN", "KEY"), help="PEM: the certificate with its authority's behind it; its key"
    )


def run(machine: Machine, options: argparse.Namespace) -> list[str]:
    """The site's own command, as its user. Files of root's are handed on for as long as it takes to read them.

    Raises:
        Trouble: there is no site, a file cannot be read, or the command says what is wrong.
    """
    env = choices.values_in(machine.read(ENV))
    if not env:
        raise Trouble(f"{ENV} is not there or empty: run deploy/install.")
    handed = [f"{env.get('PORTAL_HOME', '/srv/portal/site')}/.{name}.pem" for name in ("chain", "key")]
    words = ["signing-certificate", *(["--make"] if options.make else [])]
    try:
        if options.take:
            for path, given in zip(handed, options.take, strict=True):
                machine.write(path, _read(given), 0o600, "portal", about="until it is read")
            words += ["--take", *(str(machine.at(path)) for path in handed)]
        print(install.manage(machine, *words, env=env), end="")
    finally:
        for path in handed:
            machine.at(path).unlink(missing_ok=True)
    return []


def _read(name: str) -> str:
    try:
        return Path(name).read_text()
    except (OSError, UnicodeDecodeError) as error:
        raise Trouble(f"{name} cannot be read: {error}") from error
