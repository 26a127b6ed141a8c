"""deploy/uninstall: the site stops and its units go. Pictures, tables, settings and backups stay."""

from __future__ import annotations

from server import choices, pieces
from server.machine import Machine

STAYS = ("/srv/portal/site", "/srv/backup/portal", "/etc/portal", "the database portal")


def uninstall(machine: Machine) -> list[str]:
    running = [name for name in pieces.UNITS if machine.at(f"/etc/systemd/system/{name}").exists()]
    plain = [name for name in running if "@" not in name]
    if plain:
        machine.run("systemctl", "stop", "portal-worker@*.service", "portal-web@*.service")  # as many as there are
        machine.run("systemctl", "disable", "--now", *plain, "portal-web@1", "portal-web@2", "portal-worker@1")
    for path in [f"/etc/systemd/system/{name}" for name in running] + ["/etc/nginx/conf.d/portal.conf"]:
        if machine.at(path).exists():
            machine.note(f"remove {path}")
            if not machine.say_only:
                machine.at(path).unlink()
    if running:
        machine.run("systemctl", "daemon-reload")
        machine.run("systemctl", "reload-or-restart", "nginx")
    print("Left as they are: " + ", ".join((_files(machine), *STAYS)) + ".")
    return []


def _files(machine: Machine) -> str:
    values = choices.values_in(machine.read("/etc/portal/env"))
    if values.get("PORTAL_FILES", "folder") == "folder":
        return "/srv/portal/files"
    buckets = (values.get(f"PORTAL_S3_BUCKET_{name}", "") for name in ("PRIVATE", "PROOFS"))
    return "the buckets " + " and ".join(buckets)
