"""Two web processes and three workers, each in a network namespace and under a host name of its own, as on five
machines: one database, one queue and one bucket are reached over a bridge.

Frames are sent to both web processes in turns. First the proofs of so many by one worker, then of as many by three, as
a ratio of wall time (on two cores it cannot be three); then a sitting comes in while workers are killed and others
begin: each frame has to have its one proof in the end, and the bucket what the rows name.

    python -m tests.benchmarks apart [--frames 6]

Needs root, for `ip netns` and `unshare --uts`.
"""

from __future__ import annotations

import argparse
import asyncio
import hashlib
import http.client
import json
import os
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

import psycopg

from portal import cookies
from tests import servers
from tests.benchmarks import frames
from tests.benchmarks.figures import figure
from tests.services.grown import KEY, PRIVATE, PROOFS, SECRET, make_buckets
from tests.services.site import ROOT, Site

NET = "10.213.7"
BRIDGE, PORT = f"pb{os.getpid() % 100_000}", 8010
TOKEN = "a" * 32  # of forms: the cookie and the header have to be the same
PATIENCE = 240
PEOPLE = """
import json
from django.conf import settings
from tests.cast import make_cast
casts = [make_cast(slug) for slug in ("by-one", "by-three", "coming-and-going")]
client = casts[0].client_of(casts[0].owner)
for cast in casts[1:]:
    cast.sitting.photographer = casts[0].owner
    cast.sitting.save()
print(client.cookies[settings.SESSION_COOKIE_NAME].value)
"""
COMPARED = """
from galleries.models import Job
from galleries.steps.keeping import inventory
told = inventory.compare()
print(len(told.missing) + len(told.wrong) + len(told.orphans), Job.objects.filter(state="failed").count())
"""


@dataclass
class Apart:
    """The site. `database` is asked directly; `session` is the photographer's."""

    site: Site
    database: str
    session: str

    def proofs(self, slug: str) -> list[int]:
        """Of each frame of a sitting how many proofs it has."""
        ask = (
            "SELECT count(p.id) FROM galleries_frame f JOIN galleries_sitting s ON s.id = f.sitting_id"
            " LEFT JOIN galleries_proof p ON p.frame_id = f.id WHERE s.slug = %s GROUP BY f.id"
        )
        with psycopg.connect(self.database) as line:
            return [count for (count,) in line.execute(ask, (slug,)).fetchall()]

    def send(self, slug: str, place: int, path: Path) -> None:
        """One frame, to the one web process or the other."""
        line = http.client.HTTPConnection(f"{NET}.{2 + place % 2}", PORT, timeout=120)
        session, form = cookies.name("session", secure=False), cookies.name("form", secure=False)
        head = {"Host": "localhost", "Cookie": f"{session}={self.session}; {form}={TOKEN}", "X-CSRFToken": TOKEN}
        head |= {"X-File-Name": path.name, "Content-Type": "application/octet-stream", "Accept": "application/json"}
        line.request("PUT", f"/studio/{slug}/upload/file", path.read_bytes(), head)
        answer = line.getresponse()
        told = json.loads(answer.read())
        line.close()
        if told.get("state") != "new":
            raise RuntimeError(f"{path.name} was not taken: {answer.status} {told}")

    def wait(self, slug: str, count: int) -> None:
        servers.wait_for(lambda: sum(map(bool, self.proofs(slug))) == count, f"proofs of {slug}", seconds=PATIENCE)


def main(argv: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks apart", description=__doc__)
    parser.add_argument("--frames", type=int, default=6)
    options = parser.parse_args(argv)
    why = cannot()
    if why:
        print(f"Network namespaces cannot be made here: {why}. Nothing was measured.")
        return 0 if "CI" not in os.environ else 1
    with tempfile.TemporaryDirectory(prefix="portal-apart-") as folder, ExitStack() as stack:
        return run(options.frames, Path(folder), stack)


def cannot() -> str:
    """Why not; '' where it can be done."""
    if os.getuid() != 0:
        return "that needs root"
    try:
        done = subprocess.run(["ip", "netns", "add", f"{BRIDGE}-t"], check=False, capture_output=True, text=True)
    except FileNotFoundError:
        return "there is no ip (Debian: iproute2)"
    subprocess.run(["ip", "netns", "del", f"{BRIDGE}-t"], check=False, capture_output=True)
    return done.stderr.strip()


def run(count: int, folder: Path, stack: ExitStack) -> int:
    stack.enter_context(bridge())
    whole = started(folder, stack)
    cards = {slug: card(folder / slug, slug, count) for slug in ("by-one", "by-three", "coming-and-going")}
    print(f"{count} frames each time, load {os.getloadavg()}, {len(os.sched_getaffinity(0))} cores", flush=True)
    seconds = {}
    for slug, workers in (("by-one", 1), ("by-three", 3)):
        with ExitStack() as these:
            groups = [these.enter_context(worker(whole.site, 4 + number)).process.pid for number in range(workers)]
            for group in groups:  # they stand still until all frames are there, and begin together
                os.killpg(group, signal.SIGSTOP)
            try:
                for place, path in enumerate(cards[slug]):
                    whole.send(slug, place, path)
            finally:
                for group in groups:
                    os.killpg(group, signal.SIGCONT)
            began = time.monotonic()
            whole.wait(slug, count)
            seconds[slug] = time.monotonic() - began
        print(f"{slug}: {count / seconds[slug]:.2f} proofs a second", flush=True)
    come_and_go(whole, cards["coming-and-going"])
    ratio = seconds["by-one"] / seconds["by-three"]
    wrong = [n for slug in cards for n in whole.proofs(slug) if n != 1]
    apart, failed = whole.site.python(COMPARED).split()
    print(f"three workers / one: {ratio:.2f}; frames without their one proof: {len(wrong)};"
          f" files and rows that do not fit: {apart}; failed work: {failed}", flush=True)  # fmt: skip
    figure("three workers against one, apart", ratio, "times")
    figure("frames without their one proof", len(wrong), most=0)
    figure("files and rows that do not fit", int(apart), most=0)
    return int(bool(wrong) or apart != "0" or failed != "0")


def come_and_go(whole: Apart, paths: Sequence[Path]) -> None:
    """A worker is killed in the middle of its work and another begins elsewhere, twice, while frames come in."""
    with ExitStack() as stack:
        at_work = stack.enter_context(worker(whole.site, 4))
        for place, path in enumerate(paths):
            whole.send("coming-and-going", place, path)
            if place in {len(paths) // 3, 2 * len(paths) // 3}:
                following = stack.enter_context(worker(whole.site, 5 + place % 2))
                os.killpg(at_work.process.pid, signal.SIGKILL)  # the machine is gone, and all that ran on it
                at_work = following
        whole.wait("coming-and-going", len(paths))


def card(folder: Path, slug: str, count: int) -> list[Path]:
    """Frames of 6 megapixels that no other sitting has."""
    folder.mkdir()
    paths = []
    for number, (_name, path) in enumerate(frames.camera_files(count)):
        data = path.read_bytes() + hashlib.sha256(f"{slug}{number}".encode()).digest()  # behind the picture's end
        paths.append(folder / f"KAL_{number:04d}.JPG")
        paths[-1].write_bytes(data)
    return paths


def started(folder: Path, stack: ExitStack) -> Apart:
    database = stack.enter_context(servers.postgresql_server()).address
    queue = stack.enter_context(servers.redis_server(folder)).address
    (folder / "bucket").mkdir()
    bucket = stack.enter_context(servers.bucket_server(folder / "bucket", KEY, SECRET)).address
    make_buckets(bucket)
    over = {address: stack.enter_context(forwarded(address)) for address in (database, queue, bucket)}
    (folder / "site").mkdir()
    site = Site(
        folder / "site", PORTAL_URL=f"http://{NET}.2:{PORT}", PORTAL_PLAIN_HTTP="yes", PORTAL_HOSTS="localhost",
        PORTAL_DATABASE=over[database], PORTAL_REDIS=over[queue], PORTAL_FILES="s3", PORTAL_S3_ENDPOINT=over[bucket],
        PORTAL_S3_KEY=KEY, PORTAL_S3_SECRET=SECRET, PORTAL_S3_BUCKET_PRIVATE=PRIVATE, PORTAL_S3_BUCKET_PROOFS=PROOFS,
        PORTAL_JOB_LEASE_SECONDS="5", PORTAL_MAIL="console",
    )  # fmt: skip
    site.collect_static()
    site.manage("migrate", "-v", "0")
    session = site.python(PEOPLE)
    for number in (2, 3):
        words = [sys.executable, "-W", "ignore", "-m", "granian", "--interface", "wsgi", "--host", f"{NET}.{number}"]
        words += [
            "--port",
            str(PORT),
            "--workers",
            "1",
            "--blocking-threads",
            "4",
            "--no-ws",
            "portal.wsgi:application",
        ]
        stack.enter_context(apart(site, number, words, lambda at=number: servers.listens(PORT, f"{NET}.{at}")))
    beat = [sys.executable, "-W", "ignore", "-m", "celery", "-A", "portal", "beat", "-s", str(folder / "clock")]
    stack.enter_context(apart(site, 7, beat, lambda: True))
    return Apart(site, database, session)


@contextmanager
def worker(site: Site, number: int) -> Iterator[servers.Server]:
    """Ready for work when the block begins; it may be killed inside."""
    log = site.home / f"machine-{number}.log"
    log.unlink(missing_ok=True)
    words = [sys.executable, "-W", "ignore", "-m", "celery", "-A", "portal", "worker", "--loglevel", "INFO"]
    words += ["--concurrency", "1", "-n", f"{time.monotonic_ns()}@%h"]
    with apart(site, number, words, lambda: " ready." in log.read_text(errors="replace")) as server:
        yield server


@contextmanager
def apart(site: Site, number: int, words: list[str], well) -> Iterator[servers.Server]:  # type: ignore[no-untyped-def]
    """A program on a machine of its own: network, host name."""
    inside = f'hostname machine-{number} && exec "$@"'
    command = ["ip", "netns", "exec", f"{BRIDGE}-{number}", "unshare", "--uts", "sh", "-c", inside, "-", *words]
    log = site.home / f"machine-{number}.log"
    with servers.running(command, "", well, log, env=site.env, cwd=ROOT) as server:
        yield server


@contextmanager
def bridge() -> Iterator[None]:
    """Six machines' networks, 2 to 7, and this one's end of it, 1."""

    def ip(*words: str, check: bool = True) -> None:
        subprocess.run(["ip", *words], check=check, capture_output=True)

    try:
        ip("link", "add", BRIDGE, "type", "bridge")
        ip("addr", "add", f"{NET}.1/24", "dev", BRIDGE)
        ip("link", "set", BRIDGE, "up")
        for number in range(2, 8):
            name = f"{BRIDGE}-{number}"
            ip("netns", "add", name)
            ip("link", "add", f"{BRIDGE}h{number}", "type", "veth", "peer", "name", f"{BRIDGE}m{number}")
            ip("link", "set", f"{BRIDGE}h{number}", "master", BRIDGE, "up")
            ip("link", "set", f"{BRIDGE}m{number}", "netns", name)
            ip("netns", "exec", name, "ip", "addr", "add", f"{NET}.{number}/24", "dev", f"{BRIDGE}m{number}")
            ip("netns", "exec", name, "ip", "link", "set", f"{BRIDGE}m{number}", "up")
            ip("netns", "exec", name, "ip", "link", "set", "lo", "up")
        yield
    finally:
        for number in range(2, 8):
            ip("netns", "del", f"{BRIDGE}-{number}", check=False)
            ip("link", "del", f"{BRIDGE}h{number}", check=False)
        ip("link", "del", BRIDGE, check=False)


@contextmanager
def forwarded(address: str) -> Iterator[str]:
    """A server of this machine alone, reached over the bridge: its address there."""
    port, loop = int(address.rsplit(":", 1)[1].partition("/")[0]), asyncio.new_event_loop()

    async def pump(source: asyncio.StreamReader, to: asyncio.StreamWriter) -> None:
        with suppress(OSError, asyncio.CancelledError):
            while piece := await source.read(1 << 16):
                to.write(piece)
                await to.drain()
        with suppress(OSError, RuntimeError):
            to.close()

    async def taken(source: asyncio.StreamReader, to: asyncio.StreamWriter) -> None:
        there, server = await asyncio.open_connection("127.0.0.1", port)
        await asyncio.gather(pump(source, server), pump(there, to))

    loop.run_until_complete(asyncio.start_server(taken, f"{NET}.1", port))
    thread = threading.Thread(target=loop.run_forever, daemon=True)
    thread.start()
    try:
        yield address.replace("127.0.0.1", f"{NET}.1")
    finally:
        loop.call_soon_threadsafe(loop.stop)
        thread.join(5)
