"""deploy/uninstall: the site stops and its units go. Pictures, tables, settings and backups stay."""

from __future__ import annotations

from server import pieces
from server.machine import Machine

STAYS = ("/srv/portal/files", "/srv/portal/site", "/srv/backup/portal", "/etc/portal", "the database portal")


def uninstall(machine: Machine) -> list[str]:
    running = [name for name in pieces.UNITS if machine.at(f"/etc/systemd/system/{name}").exists()]
    plain = [name for name in running if "@" not in name]
    if plain:
        machine.run("systemctl", "disable", "--now", *plain, "portal-web@1", "portal-web@2", "portal-worker@1")
    for path in [f"/etc/systemd/system/{name}" for name in running] + ["/etc/nginx/conf.d/portal.conf"]:
        if machine.at(path).exists():
            machine.note(f"remove {path}")
            if not machine.say_only:
                machine.at(path).unlink()
    if running:
        machine.run("systemctl", "daemon-reload")
        machine.run("systemctl", "reload-or-restart", "nginx")
    print("Left as they are: " + ", ".join(STAYS) + ".")
    return []
