"""The files of deploy/grown as this server needs them. `grown` is the folder of the release that they belong to."""

from __future__ import annotations

import re
from pathlib import Path
from urllib.parse import urlsplit

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
PROXY = ("proxy.conf", "private-files.conf")  # what nginx's own file takes in
SETS = ("1", "2")


def unit(name: str, grown: Path = GROWN) -> str:
    return (grown / name).read_text()


def proxy(host: str, *, down: str = "", grown: Path = GROWN) -> str:
    """nginx's file for this host. `down`: the web set that gets no requests for now."""
    text = (grown / "nginx.conf").read_text().replace("portal.example", host)
    for one in SETS:
        at = f"server unix:/run/portal-web-{one}/web.sock"
        if one == down:
            text = text.replace(at, f"{at} down")
    return text


def queue(password: str) -> str:
    return (GROWN / "queue.conf").read_text() + f"requirepass {password}\n"


def store(values: dict[str, str], resolv: str, hosts: str, grown: Path = GROWN) -> str:
    """nginx's file for the bucket of these settings; a remark where the files lie on a disk.

    `resolv` and `hosts` are the texts of /etc/resolv.conf and /etc/hosts: nginx reads neither by itself.
    """
    if values.get("PORTAL_FILES", "folder") == "folder":
        return "# The files lie on a disk.\n"
    region = values.get("PORTAL_S3_REGION") or "us-east-1"
    address = urlsplit(values.get("PORTAL_S3_ENDPOINT") or f"https://s3.{region}.amazonaws.com")
    name, port = address.hostname or "", f":{address.port}" if address.port else ""
    at = _address_of(name, hosts)
    asked = [f"[{one}]" if ":" in one else one for one in re.findall(r"(?m)^nameserver\s+([0-9a-fA-F.:]+)\s*$", resolv)]
    text = (grown / "store.conf").read_text()
    text = text.replace("https://store.example;", f"{address.scheme}://{f'[{at}]' if ':' in at else at}{port};")
    text = text.replace("Host store.example", f"Host {address.netloc}").replace("store.example", name)
    return text.replace("resolver 127.0.0.53", f"resolver {' '.join(asked) or '127.0.0.53'}")


def _address_of(name: str, hosts: str) -> str:
    """As /etc/hosts has it, or the name itself, which nginx then asks the resolver for."""
    lines = (line.partition("#")[0].split() for line in hosts.splitlines())
    return next((words[0] for words in lines if name in words[1:] and "%" not in words[0]), name)
