"""The files of deploy/grown as this server needs them. Pure: text in, text out."""

from __future__ import annotations

from pathlib import Path

GROWN = Path(__file__).resolve().parent.parent / "grown"
UNITS = (
    "portal.target",
    "portal-tables.service",
    "portal-web@.service",
    "portal-worker@.service",
    "portal-beat.service",
    "portal-queue.service",
    "portal-backup.service",
    "portal-backup.timer",
    "portal-decoder.socket",
    "portal-decoder@.service",
)
SETS = ("1", "2")


def unit(name: str) -> str:
    return (GROWN / name).read_text()


def proxy(host: str, *, down: str = "") -> str:
    """nginx's file for this host. `down`: the web set that gets no requests for now."""
    text = (GROWN / "nginx.conf").read_text().replace("portal.example", host)
    for one in SETS:
        at = f"server unix:/run/portal-web-{one}/web.sock"
        if one == down:
            text = text.replace(at, f"{at} down")
    return text


def queue(password: str) -> str:
    return (GROWN / "queue.conf").read_text() + f"requirepass {password}\n"
