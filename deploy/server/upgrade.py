"""deploy/upgrade: the checkout it lies in takes the place of the release that runs; no request is dropped.

Backed up first. Tables are migrated while the old code runs: new columns have a default in the database. Then each of
the two web sets is taken out of the proxy, started anew and put back, so that one always answers; workers and clock
follow. `--back` lets the release before lead again; its code works with the newer tables.
"""

from __future__ import annotations

import os
import time

from server import choices, doctor, install, pieces
from server.machine import Machine, Trouble

BEFORE = "/srv/portal/before"
DRAINED = 3.0  # seconds for requests that have begun; longer ones are waited for by the unit's own stop


def upgrade(machine: Machine) -> list[str]:
    """What is wrong afterwards, in sentences."""
    now = _leads(machine)
    path = f"/srv/portal/releases/{install.release()}"
    if path == now:
        machine.note(f"This checkout runs already: {now}")
        return [] if machine.say_only else doctor.look(machine)
    install.code(machine)
    machine.run("systemctl", "start", "portal-backup.service", about="back up database and files")
    for words in (("migrate", "--no-input"), ("sizes",), ("collectstatic", "--no-input", "-v", "0")):
        install.manage(machine, *words, path=path)
    machine.link(BEFORE, now)
    _lead(machine, path)
    return [] if machine.say_only else doctor.look(machine)


def back(machine: Machine) -> list[str]:
    there = machine.at(BEFORE)
    if not there.is_symlink():
        raise Trouble("There is no release before this one.")
    before, now = os.readlink(there), _leads(machine)
    machine.link(BEFORE, now)
    _lead(machine, before)
    return [] if machine.say_only else doctor.look(machine)


def _leads(machine: Machine) -> str:
    if not machine.at(install.APP).is_symlink():
        raise Trouble("No site is installed here: deploy/install.")
    return os.readlink(machine.at(install.APP))


def _lead(machine: Machine, path: str) -> None:
    """Units and proxy are those of the release that is to lead, not of the checkout that is asked: --back too."""
    machine.link(install.APP, path)
    theirs = machine.at(f"{path}/deploy/grown")
    grown = theirs if theirs.is_dir() else pieces.GROWN
    units = {name: pieces.unit(name, grown) for name in pieces.UNITS if (grown / name).is_file()}
    changed = [name for name, text in units.items() if machine.write(f"/etc/systemd/system/{name}", text)]
    if changed:
        machine.run("systemctl", "daemon-reload")
    for name in pieces.PROXY:  # taken in by nginx at the reload below
        machine.write(f"/etc/portal/{name}", pieces.unit(name, grown))
    install.store(machine, grown)
    host = choices.values_in(machine.read(install.ENV)).get("PORTAL_HOSTS", "").split(",")[0]
    for one in pieces.SETS:
        _through(machine, pieces.proxy(host, down=one, grown=grown))
        if not machine.say_only:
            time.sleep(DRAINED)
        machine.run("systemctl", "restart", f"portal-web@{one}.service")
        install.answers(machine, one)
    _through(machine, pieces.proxy(host, grown=grown))
    machine.run("systemctl", "restart", "portal-worker@*.service", "portal-beat.service")


def _through(machine: Machine, text: str) -> None:
    """A reload lets requests that have begun end where they are."""
    if machine.write("/etc/nginx/conf.d/portal.conf", text):
        machine.run("nginx", "-t", "-q")
        machine.run("systemctl", "reload", "nginx")
