"""People marking while frames come in: what they wait, what goes wrong, whether a mark is lost.

    python -m tests.benchmarks crowd [--minutes 10] [--people 50] [--frames 400] [--standing 300] [--processes 2]

A site of its own on PostgreSQL with a worker and `--processes` web processes. Each person has an invite and a browser
session. They come within the first tenth of the time and stay: they open the sheet, fetch small pictures of it, ask for
news every other second, mark every fourth and open a frame every tenth; every minute or two they go to another page of
theirs (plan, frames side by side, the agent's lists) and come back to the sheet. Meanwhile `manage.py ingest` brings in
`--frames` pictures in ten batches. Every acknowledged mark is written down by the client that sent it, and at the end
compared with the database.
Limits (two cores, nothing else running): no error, no lost mark, p95 of a page 500 ms and of a mark 200 ms, RSS flat.

Before all that comes the opening rush: everybody opens the sheet within the same three seconds, each for the first
time. It is told apart and has no limit of its own, and is in no other figure but the errors.
"""

from __future__ import annotations

import argparse
import http.client
import json
import os
import random
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tests import servers
from tests.benchmarks import many_rows
from tests.benchmarks.figures import figure
from tests.services.site import ROOT

if TYPE_CHECKING:
    from galleries.models import Invite

TOKEN = "a" * 32  # of forms: the cookie and the header have to be the same
KINDS = ("pick", "alternate", "strike", "")
BATCHES = 10
RUSH = 3  # seconds
TURN = 2  # seconds from one poll to the next
COMING = 0.1  # of the time: until then everybody has come
STAY = (30, 60)  # polls on the sheet before another page is looked at
PAGES = ("sheet", "other page")
KINDS_ASKED = (*PAGES, "picture", "poll", "frame", "mark")


@dataclass
class Person:
    """One browser, what it was answered and how long that took (seconds, by kind of request)."""

    invite: int
    cookies: dict[str, str]
    slug: str
    frames: list[tuple[int, int]]  # and the proof of each
    others: tuple[str, ...]  # pages of theirs besides the sheet
    took: dict[str, list[float]] = field(default_factory=dict)
    errors: list[str] = field(default_factory=list)
    marks: dict[int, str] = field(default_factory=dict)  # frame → the last one that the site acknowledged

    def rush(self, port: int, seed: int) -> None:
        time.sleep(random.Random(seed).random() * RUSH)
        with closing(http.client.HTTPConnection("127.0.0.1", port, timeout=60)) as line:
            self.ask(line, "rush", f"/s/{self.slug}/sheet")

    def live(self, port: int, coming: float, until: float, seed: int) -> None:
        """`coming`: seconds within which they come."""
        chance = random.Random(seed)
        time.sleep(chance.random() * coming)
        with closing(http.client.HTTPConnection("127.0.0.1", port, timeout=60)) as line:
            change, stay, turn = 0, 0, chance.randrange(10)
            while time.monotonic() < until:
                if stay == 0:
                    if change:  # they have been here before
                        self.ask(line, "other page", f"/s/{self.slug}/{chance.choice(self.others)}")
                        time.sleep(chance.uniform(2, 6))
                    self.ask(line, "sheet", f"/s/{self.slug}/sheet")
                    stay = chance.randint(*STAY)
                change = self.turn(line, chance, change, turn)
                stay, turn = stay - 1, turn + 1
                time.sleep(max(0.1, chance.gauss(TURN, 0.3)))

    def turn(self, line: http.client.HTTPConnection, chance: random.Random, change: int, turn: int) -> int:
        """Scroll on, hear the news, mark or open something; the change that the page stands at then."""
        for frame, proof in chance.sample(self.frames, 3):
            self.ask(line, "picture", f"/files/proof/{frame}/small/{proof}.jpg")
        answer = self.ask(line, "poll", f"/s/{self.slug}/changes?since={change}")
        if turn % 2 == 0:
            self.mark(line, chance)
        if turn % 5 == 0:
            self.ask(line, "frame", f"/s/{self.slug}/frame/{chance.choice(self.frames)[0]}")
        return int(json.loads(answer)["change"]) if answer else change

    def mark(self, line: http.client.HTTPConnection, chance: random.Random) -> None:
        frame, kind = chance.choice(self.frames)[0], chance.choice(KINDS)
        act = {"frame": frame, "kind": kind, "act": f"{self.invite}-{time.monotonic_ns()}"}
        answer = self.ask(line, "mark", f"/s/{self.slug}/marks", [act])
        if not answer:
            return
        (one,) = json.loads(answer)["answers"]
        if one.get("kind") != kind:
            self.errors.append(f"mark answered {one}")
        self.marks[frame] = kind

    def ask(self, line: http.client.HTTPConnection, kind: str, path: str, body: Any = None) -> bytes:
        headers = {"Host": "localhost", "Cookie": "; ".join(f"{name}={value}" for name, value in self.cookies.items()),
                   "Accept-Encoding": "gzip" if kind in {"rush", *PAGES} else "identity"}  # fmt: skip
        if body is not None:
            headers |= {"Content-Type": "application/json", "X-CSRFToken": TOKEN, "Accept": "application/json"}
        began = time.monotonic()
        try:
            line.request("POST" if body is not None else "GET", path, json.dumps(body) if body else None, headers)
            answer = line.getresponse()
            content = answer.read()
        except (OSError, http.client.HTTPException) as error:
            self.errors.append(f"{kind}: {type(error).__name__}")
            line.close()
            return b""
        self.took.setdefault(kind, []).append(time.monotonic() - began)
        for given in answer.headers.get_all("Set-Cookie", []):
            name, _sign, value = given.strip().partition(";")[0].partition("=")
            self.cookies[name] = value
        if answer.status not in {200, 204}:
            self.errors.append(f"{kind}: {answer.status}")
            return b""
        return content


def main(argv: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="crowd", description=__doc__)
    parser.add_argument("--minutes", type=float, default=10)
    parser.add_argument("--people", type=int, default=50)
    parser.add_argument("--frames", type=int, default=400)
    parser.add_argument("--standing", type=int, default=300)
    parser.add_argument("--processes", type=int, default=2)
    options = parser.parse_args(argv)
    with many_rows.portal() as home:
        return run(options, home)


def run(options: argparse.Namespace, home: Path) -> int:
    from tests.cast import make_cast

    cast = make_cast("elsewhere")
    filled = many_rows.fill(cast.owner, "crowded", options.standing)
    people = invited(cast, filled, options.people)
    print(f"{options.people} people, {options.standing} frames there, {options.frames} coming; load {os.getloadavg()}")
    with tempfile.TemporaryDirectory(prefix="portal-crowd-") as folder, web(home, options.processes) as (port, process):
        pictures(Path(folder), options.frames)
        with worker(home):
            before = cpu_of(process.process.pid)
            join(started(one.rush, port, n) for n, one in enumerate(people))
            of_rush = cpu_of(process.process.pid) - before
            print(f"opening rush: {of_rush:.1f} s of the web processes' CPU, {of_rush / len(people) * 1e3:.0f} ms each")
            seconds = options.minutes * 60
            until = time.monotonic() + seconds
            threads = [started(one.live, port, seconds * COMING, until, n) for n, one in enumerate(people)]
            rss = watched(process, filled.sitting.slug, Path(folder), until, seconds / BATCHES)
            join(threads)
            spent = cpu_of(process.process.pid) - before - of_rush
    asked = sum(len(one.took.get(kind, [])) for one in people for kind in KINDS_ASKED)
    figure("web, a request", spent / asked * 1e3, "ms CPU")
    print(f"web processes: {spent:.1f} s of CPU, {spent / asked * 1e3:.1f} ms a request")
    return report(people, rss, filled.sitting.frames.count() - options.standing, options)


def started(target: Callable[..., None], *args: Any) -> threading.Thread:
    thread = threading.Thread(target=target, args=args)
    thread.start()
    return thread


def join(threads: Iterable[threading.Thread]) -> None:
    for thread in list(threads):
        thread.join()


def invited(cast: Any, filled: many_rows.Filled, count: int) -> list[Person]:
    from django.conf import settings
    from django.utils import timezone

    from galleries.models import Invite, Proof

    proofs = list(Proof.objects.filter(frame__sitting=filled.sitting).values_list("frame_id", "pk"))

    def invite(n: int) -> Invite:
        role = Invite.Role.SUBJECT if n % 2 else Invite.Role.REPRESENTATION
        expires = timezone.now() + timedelta(days=3)
        return Invite.objects.create(
            sitting=filled.sitting, role=role, name=f"Person {n}", email=f"{n}@crowd.example", expires_at=expires
        )

    people = []
    for n in range(count):
        one = invite(n)
        cookies = {name: morsel.value for name, morsel in cast.client_of(one).cookies.items()}
        cookies[settings.CSRF_COOKIE_NAME] = TOKEN
        compare = f"compare?look={filled.frames[n % len(filled.frames)].look_id}"
        others = ("plan", compare) if one.is_subject else ("plan", compare, "lists")
        people.append(Person(one.pk, cookies, filled.sitting.slug, proofs, others))
    return people


def pictures(folder: Path, count: int) -> None:
    """Small real JPEGs, all different: this asks how the site bears the coming in, not how fast pixels are counted."""
    import numpy as np
    from PIL import Image

    rng = np.random.default_rng(7)
    base = rng.integers(0, 255, (90, 60, 3), dtype=np.uint8)
    for n in range(count):
        base[n % 90, :, :] = n % 256
        batch = folder / str(n * BATCHES // max(count, 1))
        batch.mkdir(exist_ok=True)
        Image.fromarray(base).resize((800, 1200)).save(batch / f"NEW_{n:04d}.JPG", quality=85)


@contextmanager
def web(home: Path, processes: int) -> Iterator[tuple[int, servers.Server]]:
    """(port, the server that looks after the processes): as the service unit starts it, but on a port."""
    port = servers.free_port()
    with _web(home, processes, ["--port", str(port)], lambda: servers.listens(port)) as server:
        yield port, server


@contextmanager
def web_by_socket(home: Path, processes: int) -> Iterator[tuple[Path, servers.Server]]:
    """(its socket, the server that looks after the processes): as the service unit starts it, for a proxy in front."""
    path = home / "web.sock"
    with _web(home, processes, ["--uds", str(path)], lambda: servers.accepts(path)) as server:
        yield path, server


@contextmanager
def _web(home: Path, processes: int, where: list[str], well: Callable[[], bool]) -> Iterator[servers.Server]:
    command = [sys.executable, "-W", "ignore", "-m", "granian", "--interface", "wsgi", *where]
    command += ["--workers", str(processes), "--blocking-threads", "8", "--no-ws", "--log-level", "warning"]
    with servers.running([*command, "portal.wsgi:application"], "", well, home / "web.log", cwd=ROOT) as server:
        yield server


@contextmanager
def worker(home: Path) -> Iterator[servers.Server]:
    log = home / "worker.log"
    command = [sys.executable, "-W", "ignore", "-m", "celery", "-A", "portal", "worker", "--loglevel", "INFO"]
    with servers.running(command, "", lambda: " ready." in log.read_text(errors="replace"), log, cwd=ROOT) as server:
        yield server


def watched(process: servers.Server, slug: str, folder: Path, until: float, every: float) -> list[float]:
    """Bring in a batch each `every` seconds; MB of memory of the web processes, taken every five."""
    rss, batches, began = [], sorted(folder.iterdir()), time.monotonic()
    running: list[subprocess.Popen[bytes]] = []
    while time.monotonic() < until:
        if batches and time.monotonic() - began >= len(running) * every:
            command = [sys.executable, "manage.py", "ingest", str(batches.pop(0)), "--sitting", slug]
            running.append(subprocess.Popen(command, cwd=ROOT, stdout=subprocess.DEVNULL))
        rss.append(memory_of(process.process.pid))
        time.sleep(min(5, max(0.1, until - time.monotonic())))
    for one in running:
        if one.wait(300):
            print(f"an ingest ended with {one.returncode}")
    return rss


def memory_of(pid: int) -> float:
    """MB of a process and its children."""
    total = 0.0
    for child in Path(f"/proc/{pid}/task/{pid}/children").read_text().split():
        total += memory_of(int(child))
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith("VmRSS:"):
            total += int(line.split()[1]) / 1024
    return total


def cpu_of(pid: int) -> float:
    """Seconds of processor time that a process and its children have had."""
    children = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    own = (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
    return own + sum(cpu_of(int(child)) for child in children)


def report(people: list[Person], rss: list[float], came: int, options: argparse.Namespace) -> int:
    from galleries.models import Mark

    lost = 0
    for one in people:
        kept = dict(Mark.objects.filter(invite=one.invite).values_list("frame_id", "kind"))
        lost += sum(kept.get(frame, "") != kind for frame, kind in one.marks.items())
    errors = [error for one in people for error in one.errors]
    print(f"load {os.getloadavg()}; {came} frames came in")
    total = sum(len(one.took.get(kind, [])) for one in people for kind in KINDS_ASKED)
    groups = {"page": PAGES, **{kind: (kind,) for kind in KINDS_ASKED}, "sheet in the opening rush": ("rush",)}
    for name, kinds in groups.items():
        times = sorted(seconds for one in people for kind in kinds for seconds in one.took.get(kind, []))
        if times:
            p50, p95 = (times[min(len(times) - 1, int(len(times) * share))] * 1e3 for share in (0.5, 0.95))
            figure(f"{name}, median", p50, "ms")
            figure(f"{name}, p95", p95, "ms", most={"page": 500.0, "mark": 200.0}.get(name))
            print(f"{name:26} {len(times):6} times, median {p50:6.0f} ms, p95 {p95:6.0f} ms, at most {times[-1]:.2f} s")
    print(f"{total / (options.minutes * 60):.0f} requests/s; {len(errors)} errors {sorted(set(errors))[:5]}")
    print(f"marks acknowledged {sum(len(one.took.get('mark', [])) for one in people)}, lost {lost}")
    figure("requests", total / (options.minutes * 60), "a second")
    figure("errors", len(errors), "", most=0)
    figure("marks lost", lost, "", most=0)
    quarter = max(1, len(rss) // 4)
    print(f"web processes: {sum(rss[quarter:2 * quarter]) / quarter:.0f} MB in the second quarter,"
          f" {sum(rss[-quarter:]) / quarter:.0f} MB in the last, {max(rss):.0f} MB at most")  # fmt: skip
    return 1 if errors or lost else 0
