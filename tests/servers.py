"""Real servers that tests start and stop themselves, each on a free port or a socket of its own."""

from __future__ import annotations

import json
import os
import pwd
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path

from portal import embedded


@dataclass
class Server:
    process: subprocess.Popen[bytes]
    address: str

    def kill(self) -> None:
        """As a power cut would: no last words."""
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()


def free_port() -> int:
    with socket.socket() as line:
        line.bind(("127.0.0.1", 0))
        return int(line.getsockname()[1])


def free_ports(count: int) -> list[int]:
    """Different ones: all are held open until the last is found."""
    with ExitStack() as stack:
        lines = [stack.enter_context(socket.socket()) for _ in range(count)]
        for line in lines:
            line.bind(("127.0.0.1", 0))
        return [int(line.getsockname()[1]) for line in lines]


def listens(port: int, host: str = "127.0.0.1") -> bool:
    try:
        with socket.create_connection((host, port), timeout=1):
            return True
    except OSError:
        return False


def accepts(path: Path) -> bool:
    """Does somebody listen on this socket?"""
    try:
        with socket.socket(socket.AF_UNIX) as line:
            line.connect(str(path))
            return True
    except OSError:
        return False


def wait_for(well: Callable[[], bool], what: str, seconds: float = 60, server: Server | None = None) -> None:
    until = time.monotonic() + seconds
    while not well():
        if server is not None and server.process.poll() is not None:
            raise AssertionError(f"{what}: the server ended with status {server.process.returncode}")
        if time.monotonic() > until:
            raise AssertionError(f"{what}: not within {seconds:g} s")
        time.sleep(0.05)


@contextmanager
def running(
    command: list[str],
    address: str,
    well: Callable[[], bool],
    log: Path,
    env: dict[str, str] | None = None,
    user: str | None = None,
    cwd: Path | None = None,
    patience: float = 20,
) -> Iterator[Server]:
    """A server from start to end of the block; its words go to `log`. After `patience` seconds it is killed."""
    with open(log, "ab") as out:
        process = subprocess.Popen(
            command,
            stdin=subprocess.DEVNULL,
            stdout=out,
            stderr=subprocess.STDOUT,
            env={**os.environ, **(env or {})},
            user=user,
            cwd=cwd,
            start_new_session=True,
        )
    server = Server(process, address)
    try:
        wait_for(well, f"{Path(command[0]).name} ({log.read_text(errors='replace')[-500:]})", server=server)
        yield server
    finally:
        if process.poll() is None:
            process.terminate()
            try:
                process.wait(patience)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()


@contextmanager
def queue_server(home: Path) -> Iterator[Server]:
    """The embedded site's own queue server, for the site in `home`."""
    path = embedded.socket_path(home)
    with running(
        embedded.queue_command(home), f"redis+socket://{path}", lambda: accepts(path), home / "queue.log"
    ) as server:
        yield server


@contextmanager
def redis_server(folder: Path) -> Iterator[Server]:
    """Debian's own Redis; its address is a PORTAL_REDIS."""
    port = free_port()
    command = ["redis-server", "--port", str(port), "--bind", "127.0.0.1", "--dir", str(folder), "--save", ""]
    with running(command, f"redis://127.0.0.1:{port}/0", lambda: listens(port), folder / "redis.log") as server:
        yield server


@contextmanager
def postgresql_server() -> Iterator[Server]:
    """A PostgreSQL of its own with one role and one database; its address is a PORTAL_DATABASE."""
    programs = sorted(Path("/usr/lib/postgresql").glob("*/bin/postgres"))
    if not programs:
        raise AssertionError("PostgreSQL's server is missing: deploy/packages test")
    tools, port, user = programs[-1].parent, free_port(), servant()
    folder = Path(tempfile.mkdtemp(prefix="portal-pg-"))  # pytest's folders are closed to the server's user
    if user:
        shutil.chown(folder, user)
    init = [str(tools / "initdb"), "-D", str(folder / "data"), "-U", "tester", "-A", "trust", "-E", "UTF8", "--no-sync"]
    subprocess.run(init, user=user, cwd="/", check=True, capture_output=True)
    command = [str(programs[-1]), "-D", str(folder / "data"), "-p", str(port), "-k", str(folder)]
    # Not waiting for the disk risks nothing here: a killed server loses nothing by it, only a power cut would.
    command += ["-c", "listen_addresses=127.0.0.1", "-c", "fsync=off", "-c", "full_page_writes=off"]

    def well() -> bool:
        ask = [str(tools / "pg_isready"), "-q", "-h", "127.0.0.1", "-p", str(port), "-U", "tester"]
        return subprocess.run(ask, check=False).returncode == 0

    log, address = folder / "log", f"postgres://tester@127.0.0.1:{port}/postgres"
    try:
        with running(command, address, well, log, user=user, cwd=Path("/")) as server:
            yield server
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def servant() -> str | None:
    """Servers that refuse to run as root run as this user; None: we are not root."""
    if os.getuid() != 0:
        return None
    names = {entry.pw_name for entry in pwd.getpwall()}
    return "postgres" if "postgres" in names else "nobody"


@contextmanager
def bucket_server(folder: Path, key: str, secret: str) -> Iterator[Server]:
    """An S3-compatible server with one identity; its address is a PORTAL_S3_ENDPOINT."""
    rights = ["Admin", "Read", "Write", "List", "Tagging"]
    identity = {"name": "portal", "credentials": [{"accessKey": key, "secretKey": secret}], "actions": rights}
    config = folder / "s3.json"
    config.write_text(json.dumps({"identities": [identity]}))
    data = folder / "data"
    data.mkdir()
    names = ("master", "volume", "filer", "s3")
    ports = free_ports(2 * len(names))
    command = [str(Path(sys.executable).with_name("weed")), "-logtostderr=true", "server", f"-dir={data}"]
    command += ["-ip=127.0.0.1", "-ip.bind=127.0.0.1", "-s3", f"-s3.config={config}", "-master.telemetry=false"]
    command += ["-volume.max=60", "-master.volumeSizeLimitMB=64", "-s3.port.iceberg=0", "-s3.port.lance=0"]
    for place, name in enumerate(names):
        command += [f"-{name}.port={ports[2 * place]}", f"-{name}.port.grpc={ports[2 * place + 1]}"]
    port = ports[6]

    def well() -> bool:
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{port}/healthz", timeout=2) as answer:
                return bool(answer.status == 200)
        except OSError:
            return False

    with running(command, f"http://127.0.0.1:{port}", well, folder / "log", cwd=folder, patience=1) as server:
        yield server
