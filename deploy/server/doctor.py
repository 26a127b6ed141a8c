"""deploy/doctor: what is wrong, in sentences; nothing is changed."""

from __future__ import annotations

import json
import shutil
import smtplib
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime

from server import choices
from server.machine import Machine

ENV, CRT = "/etc/portal/env", "/etc/portal/tls/portal.crt"
UNITS = (
    "postgresql.service",
    "nginx.service",
    "portal-queue.service",
    "portal-web@1.service",
    "portal-web@2.service",
    "portal-worker@1.service",
    "portal-beat.service",
    "portal-backup.timer",
)
SIGNING_SOON = 30  # days: nobody renews it by itself
SOON = 14  # days before a certificate's end; renewal begins 30 before
LATE = 600  # seconds that a piece of work may wait
READY = {
    "database": "The database does not answer.",
    "queue": "The queue does not answer.",
    "private": "The store of originals and deliveries does not answer.",
    "proofs": "The store of the proofs does not answer.",
    "disk": "A disk that the site writes on is nearly full.",
    "work": "The workers are silent: work waits and none is done.",
}


def look(machine: Machine) -> list[str]:
    """Every sentence there is to say; none when all is well."""
    env = choices.values_in(machine.read(ENV))
    if not env:
        return [f"{ENV} is not there or empty: run deploy/install."]
    every: list[Callable[[], Iterator[str]]] = [
        lambda: _units(machine),
        lambda: _ready(machine, env),
        lambda: waiting(machine),
        lambda: certificate(machine),
        lambda: signing(machine, env),
        lambda: disks(machine),
        lambda: mail(env),
        lambda: clock(machine),
        lambda: backup(machine),
    ]
    return [line for one in every for line in one()]


def _units(machine: Machine) -> Iterator[str]:
    for name in UNITS:
        state = machine.ask("systemctl", "is-active", name)[1].splitlines()[:1]
        if state != ["active"]:
            yield f"{name} is {state[0] if state else 'not there'}: journalctl -u {name} says why."


def _ready(machine: Machine, env: dict[str, str], tries: int = 4, pause: float = 5) -> Iterator[str]:
    """Asked again a few times until all is well, and what comes in each answer is said: a site that has just been
    started is slow at first, and a busy one now and then."""
    host = env.get("PORTAL_HOSTS", "").split(",")[0]
    words = ("--silent", "--insecure", "--max-time", "10", "--resolve", f"{host}:443:127.0.0.1")
    lines: list[str] = []
    for one in range(tries):
        time.sleep(pause if one else 0)
        _well, answer = machine.ask("curl", *words, f"https://{host}/health/ready")
        try:
            faults = list(ready(json.loads(answer)))
        except ValueError:
            faults = ["The site does not answer by its proxy: journalctl -u 'portal-web@*' -u nginx"]
        if not faults:
            return
        lines = [line for line in faults if line in lines] or faults
    yield from lines


def ready(told: dict[str, object]) -> Iterator[str]:
    """`told`: what /health/ready answers."""
    for name, line in READY.items():
        if told.get(name) is False:
            yield line


def waiting(machine: Machine) -> Iterator[str]:
    """The same question as the page Work asks, to the database itself."""
    ask = (
        "SELECT coalesce(extract(epoch FROM now() - min(created_at)), 0)::int"
        " FROM galleries_job WHERE state = 'waiting'"
    )
    well, answer = machine.ask("psql", "-tAc", ask, "portal", user="portal")
    if not well:
        yield f"The database portal cannot be asked: {answer[:200]}"
    elif int(answer) > LATE:
        yield f"The oldest piece of work has waited for {int(answer) // 60} minutes; the page Work says why."


def certificate(machine: Machine, now: datetime | None = None) -> Iterator[str]:
    well, answer = machine.ask("openssl", "x509", "-noout", "-enddate", "-in", str(machine.at(CRT)))
    if not well:
        yield f"There is no certificate in {CRT}."
        return
    end = parsed_end(answer)
    days = (end - (now or datetime.now(UTC))).days
    if days < 0:
        yield f"The certificate ended on {end:%Y-%m-%d}."
    elif days < SOON:
        yield f"The certificate ends in {days} days, on {end:%Y-%m-%d}; is it renewed? certbot renew says."


def signing(machine: Machine, env: dict[str, str], now: datetime | None = None) -> Iterator[str]:
    """The certificate that finals are signed with; before the first delivery there is none."""
    home = env.get("PORTAL_HOME", "/srv/portal/site") + "/signing"
    named = machine.read(f"{home}/current").strip()
    if not named:
        return
    make = "deploy/set-signing-certificate makes or takes another"
    well, answer = machine.ask("openssl", "x509", "-noout", "-enddate", "-in", str(machine.at(f"{home}/{named}.pem")))
    if not well:
        yield f"The certificate that finals are signed with cannot be read in {home}: {make}."
        return
    if not machine.at(f"{home}/{named}.key").exists():
        yield f"The key that finals are signed with is gone from {home}: {make}."
    end = parsed_end(answer)
    days = (end - (now or datetime.now(UTC))).days
    if days < 0:
        yield f"The certificate that finals are signed with ended on {end:%Y-%m-%d}: {make}."
    elif days < SIGNING_SOON:
        yield f"The certificate that finals are signed with ends in {days} days, on {end:%Y-%m-%d}: {make}."


def parsed_end(answer: str) -> datetime:
    """Of openssl's `notAfter=Feb 24 10:00:00 2027 GMT`."""
    return datetime.strptime(answer.split("=", 1)[1].strip(), "%b %d %H:%M:%S %Y %Z").replace(tzinfo=UTC)


def disks(machine: Machine, spare: float = 0.1) -> Iterator[str]:
    for path in ("/srv/portal", "/var", "/srv/backup"):
        if machine.at(path).exists():
            disk = shutil.disk_usage(machine.at(path))
            if disk.free < spare * disk.total:
                left = f"{disk.free / 1e9:.1f} GB of {disk.total / 1e9:.0f} GB"
                yield f"The disk of {path} is nearly full: {left} are left."


def mail(env: dict[str, str], seconds: float = 10) -> Iterator[str]:
    """Comes in at the mail server as the site does, and sends nothing."""
    if env.get("PORTAL_MAIL") != "smtp":
        yield "Letters do not go out by a mail server: PORTAL_MAIL is not smtp."
        return
    host, port = env.get("PORTAL_SMTP_HOST", "localhost"), int(env.get("PORTAL_SMTP_PORT") or 25)
    try:
        with smtplib.SMTP(host, port, timeout=seconds) as server:
            if env.get("PORTAL_SMTP_TLS") == "yes":
                server.starttls()
            if env.get("PORTAL_SMTP_USER"):
                server.login(env["PORTAL_SMTP_USER"], env.get("PORTAL_SMTP_PASSWORD", ""))
            server.ehlo_or_helo_if_needed()
            code, answer = server.mail(env.get("PORTAL_MAIL_FROM", ""))
            if code >= 400:
                yield f"The mail server {host} refuses the sender: {code} {answer.decode(errors='replace')[:200]}"
            server.rset()
    except smtplib.SMTPAuthenticationError:
        yield f"The mail server {host} refuses user or password (PORTAL_SMTP_USER)."
    except (smtplib.SMTPException, OSError) as error:
        yield f"The mail server {host}, port {port}, cannot be used: {str(error)[:200]}"


def clock(machine: Machine) -> Iterator[str]:
    """As the machine's own time keeping sees it."""
    well, answer = machine.ask("timedatectl", "show", "--property=NTPSynchronized", "--value")
    if well and answer == "no":
        yield "The clock is not set by the network: timedatectl set-ntp true (second-factor codes need the right time)."


def backup(machine: Machine) -> Iterator[str]:
    if machine.ask("systemctl", "is-failed", "portal-backup.service")[1] == "failed":
        yield "The last backup failed: journalctl -u portal-backup.service says why."
    about = machine.read("/srv/backup/portal/about.json")
    if not about:
        yield "There is no backup yet: systemctl start portal-backup.service"
        return
    told = json.loads(about)
    day = datetime.strptime(told["at"][:15], "%Y%m%dT%H%M%S").replace(tzinfo=UTC)
    days = (datetime.now(UTC) - day).days
    if days >= 2:
        yield f"The last backup is {days} days old: journalctl -u portal-backup.service"
    if told.get("lost"):
        yield f"Files that the tables name are not in the store: {told['lost']}. The backup keeps what it had of them."
