"""deploy/start, as a person runs it: served pages, one link per person, clear refusals, nothing left behind.

The demo's frames are painted small here; tests/browser and CI's own `deploy/start --check` see the full size.
"""

from __future__ import annotations

import json
import os
import re
import signal
import socket
import ssl
import subprocess
import sys
import urllib.request
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from http.cookiejar import CookieJar
from pathlib import Path

import pytest

from tests.servers import free_port, wait_for
from tests.services.strangers import open_to_others, read_by_nobody

pytestmark = [pytest.mark.services, pytest.mark.timeout(600)]
ROOT = Path(__file__).resolve().parents[2]
READY = re.compile(r"^Ready: (\S+)", re.MULTILINE)
LINK = re.compile(r"^  (photographer|subject|representation) +(\S+)$", re.MULTILINE)


class Started:
    """A start whose words are read from a file while it runs."""

    def __init__(self, process: subprocess.Popen[bytes], log: Path) -> None:
        self.process, self.log = process, log

    @property
    def words(self) -> str:
        return self.log.read_text(errors="replace")

    def children(self) -> list[int]:
        found = []
        for entry in Path("/proc").glob("[0-9]*"):
            try:
                if f"PORTAL_SUPERVISED={self.home}".encode() in (entry / "environ").read_bytes().split(b"\0"):
                    found.append(int(entry.name))
            except OSError:
                continue
        return found

    home = ""


def environment(home: Path, **more: str) -> dict[str, str]:
    kept = {name: value for name, value in os.environ.items() if not name.startswith("PORTAL_")}
    small = {"PORTAL_DEMO_SIDE": "1200", "PORTAL_DEMO_CACHE": os.environ.get("TESTS_DEMO_CACHE", str(CACHE))}
    return {**kept, **small, "PORTAL_HOME": str(home), **more}


CACHE = ROOT / ".cache" / "tests"


@contextmanager
def started(home: Path, *words: str, people: int = 3) -> Iterator[Started]:
    log = home.parent / f"{home.name}.log"
    log.unlink(missing_ok=True)
    with open(log, "wb") as out:
        process = subprocess.Popen(
            [str(ROOT / "deploy" / "start"), *words],
            env=environment(home),
            stdin=subprocess.DEVNULL,
            stdout=out,
            stderr=subprocess.STDOUT,
            start_new_session=True,
        )
    found = Started(process, log)
    found.home = str(home)
    try:
        wait_for(lambda: process.poll() is not None or "stop with Ctrl-C" in found.words, "not ready", 400)
        wait_for(lambda: process.poll() is not None or len(LINK.findall(found.words)) == people, "no links", 20)
        assert process.poll() is None, found.words
        yield found
    finally:
        if process.poll() is None:
            process.send_signal(signal.SIGINT)
            process.wait(90)


def start(home: Path, *words: str, **more: str) -> subprocess.CompletedProcess[str]:
    """A start that is expected to end by itself."""
    return subprocess.run(
        [str(ROOT / "deploy" / "start"), *words],
        env=environment(home, **more),
        check=False,
        capture_output=True,
        text=True,
        timeout=500,
    )


class Kept:
    """The site of this file, which the tests hand on to each other as it runs: a start costs as much as a test."""

    def __init__(self, home: Path) -> None:
        self.home, self.port = home, free_port()
        self._runs: ExitStack | None = None
        self._site: Started | None = None

    def up(self) -> Started:
        """As it runs already, else started."""
        if self._site is None:
            with ExitStack() as begun:
                self._site = begun.enter_context(started(self.home, "--port", str(self.port)))
                self._runs = begun.pop_all()
        return self._site

    def stop(self) -> Started | None:
        """By Ctrl-C, where it was not killed meanwhile."""
        stopped, self._site = self._site, None
        if self._runs is not None:
            self._runs.close()
            self._runs = None
        return stopped


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Kept]:
    site = Kept(tmp_path_factory.mktemp("start") / "site")
    yield site
    site.stop()


def opens(link: str) -> tuple[int, str]:
    browser = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(CookieJar()))
    with browser.open(link, timeout=60) as answer:
        return answer.status, answer.read().decode()


def rows(home: Path) -> str:
    """Every table's count and the newest line of the journal: what a second start must leave as it is."""
    code = (
        "import django; django.setup()\n"
        "from django.apps import apps\n"
        "print({m.__name__: m.objects.count() for m in apps.get_app_config('galleries').get_models()})"
    )
    env = {**environment(home), "DJANGO_SETTINGS_MODULE": "portal.settings"}
    return subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, env=env, check=True, capture_output=True, text=True
    ).stdout


def test_it_serves_a_page_to_each_person_and_starts_again_unchanged_after_a_stop_and_after_a_kill(kept: Kept) -> None:
    first, home = kept.up(), kept.home
    links = dict(LINK.findall(first.words))
    assert set(links) == {"photographer", "subject", "representation"}
    for link in links.values():
        assert link.startswith(f"http://localhost:{kept.port}/")
        status, page = opens(link)
        assert (status, "<!doctype html>" in page.lower()) == (200, True)
    assert len(first.children()) >= 4
    assert open_to_others(home) == []
    assert read_by_nobody(home) == []
    again = start(home, "--port", str(free_port()))
    assert again.returncode == 1
    assert again.stderr.strip().splitlines()[-1].startswith("deploy/start: This site is running already: http://")
    kept.stop()
    assert first.process.returncode == 0, first.words
    assert first.children() == []
    assert not (home / "queue.sock").exists()
    before = rows(home)
    second = kept.up()
    assert dict(LINK.findall(second.words)) == links
    assert rows(home) == before
    # What a kill leaves is in nobody's way.
    children = second.children()
    os.kill(second.process.pid, signal.SIGKILL)
    second.process.wait()
    kept.stop()
    third = kept.up()
    assert not set(children) & set(third.children())
    assert opens(dict(LINK.findall(third.words))["subject"])[0] == 200


def test_each_child_that_dies_is_started_again_and_the_site_answers(kept: Kept) -> None:
    running = kept.up()
    # nginx writes its title over its environment: it is known by the configuration it was started with.
    nginx = [
        int(entry.name)
        for entry in Path("/proc").glob("[0-9]*")
        if f"{kept.home}/front/nginx.conf".encode() in cmdline(int(entry.name))
    ]
    for name, word in [("worker", b"\0worker\0"), ("clock", b"\0beat\0"), ("web", b"granian"), ("front", b"")]:
        child = next(pid for pid in (nginx if name == "front" else running.children()) if word in cmdline(pid))
        # The worker with its pool; of the others their leader alone, whose own children then hold what it held.
        (os.killpg if name == "worker" else os.kill)(os.getsid(child), signal.SIGKILL)
        ended = re.compile(rf"The {name} ended \([^)]+\); starting it again")
        wait_for(lambda: ended.search(running.words) is not None, f"the end of {name} was not seen", 20)  # noqa: B023
        wait_for(lambda: answers(kept.port), f"the site does not answer any more after {name}", 30)


def cmdline(pid: int) -> bytes:
    try:
        return Path(f"/proc/{pid}/cmdline").read_bytes()
    except OSError:
        return b""


def answers(port: int) -> bool:
    try:
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/health/live", timeout=5) as answer:
            return bool(answer.status == 200)
    except OSError:
        return False


def test_on_set_it_serves_https_under_the_certificate_made_for_the_address(kept: Kept) -> None:
    """As on a studio's own network; here the address is another one of this machine's loopback range."""
    kept.stop()
    home = kept.home
    made = [str(ROOT / "deploy" / "set-certificate"), "127.0.0.2"]
    said = subprocess.run(made, env=environment(home), check=True, capture_output=True, text=True).stdout
    assert re.search(r"(?m)^  [0-9A-F]{2}(:[0-9A-F]{2}){31}$", said)
    trusted = ssl.create_default_context(cafile=str(home / "tls" / "127.0.0.2.crt"))
    port = free_port()
    with started(home, "--host", "127.0.0.2", "--port", str(port)) as running:
        link = dict(LINK.findall(running.words))["subject"]
        assert link.startswith(f"https://127.0.0.2:{port}/")
        browser = urllib.request.build_opener(
            urllib.request.HTTPSHandler(context=trusted), urllib.request.HTTPCookieProcessor(jar := CookieJar())
        )
        with browser.open(link, timeout=60) as answer:
            assert answer.status == 200
        assert all(cookie.secure for cookie in jar)
        assert len(jar) >= 1


def test_a_busy_port_is_one_line(tmp_path: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        done = start(tmp_path / "site", "--port", str(port))
    assert done.returncode == 1
    lines = done.stderr.strip().splitlines()
    assert len(lines) == 1
    assert f"Port {port} is in use" in lines[0]


@pytest.mark.parametrize("words", [["--port", "70000"], ["--json"], ["--port", "none"], ["--check", "--without-demo"]])
def test_a_wrong_option_is_named(tmp_path: Path, words: list[str]) -> None:
    done = start(tmp_path / "site", *words)
    assert done.returncode == 2
    assert "error:" in done.stderr


def test_a_wrong_setting_is_one_line(tmp_path: Path) -> None:
    done = start(tmp_path / "site", "--port", str(free_port()), PORTAL_DATABASE="oracle://here/db")
    assert done.returncode == 1
    assert "PORTAL_DATABASE begins with 'oracle'" in done.stderr.strip().splitlines()[-1]


def stand_in(folder: Path, **programs: str) -> str:
    """A PATH whose first folder has these small programs."""
    folder.mkdir()
    for name, body in programs.items():
        (folder / name.replace("_", "-")).write_text(f"#!/bin/sh\n{body}\n")
        (folder / name.replace("_", "-")).chmod(0o755)
    return f"{folder}:{os.environ['PATH']}"


def test_a_missing_debian_package_is_one_line_to_run(tmp_path: Path) -> None:
    """As somebody who is not root, on a machine without the fonts."""
    path = stand_in(tmp_path / "bin", id="echo 1000", dpkg_query="exit 1")
    done = start(tmp_path / "site", PATH=path)
    assert done.returncode == 1
    (line,) = done.stderr.strip().splitlines()
    assert "sudo apt-get install -y --no-install-recommends" in line
    assert "fonts-dejavu-core" in line


def test_no_network_for_debian_packages_is_one_line(tmp_path: Path) -> None:
    path = stand_in(tmp_path / "bin", id="echo 0", dpkg_query="exit 1", apt_get="echo 'E: no route' >&2; exit 100")
    done = start(tmp_path / "site", PATH=path)
    assert done.returncode == 1
    (line,) = done.stderr.strip().splitlines()
    assert "could not be installed" in line
    assert "E: no route" in line


def test_no_network_for_python_packages_is_one_line(tmp_path: Path) -> None:
    """A clone without an environment, whose package index is nowhere."""
    clone = tmp_path / "clone"
    subprocess.run(["git", "clone", "-q", str(ROOT), str(clone)], check=True)
    nowhere = {"PIP_INDEX_URL": f"http://127.0.0.1:{free_port()}/", "PIP_NO_CACHE_DIR": "1", "PIP_FIND_LINKS": ""}
    env = {**environment(tmp_path / "site"), **nowhere, "PIP_CONFIG_FILE": "/dev/null"}
    done = subprocess.run(
        [str(clone / "deploy" / "start")], env=env, check=False, capture_output=True, text=True, timeout=200
    )
    assert done.returncode == 1
    (line,) = done.stderr.strip().splitlines()
    assert "Python packages could not be installed" in line
    assert "network" in line


def test_the_check_prints_one_line_of_json_and_leaves_the_archive(tmp_path: Path) -> None:
    done = start(tmp_path / "unused", "--check", "--json", TMPDIR=str(tmp_path))
    assert done.returncode == 0, done.stderr[-3000:]
    (line,) = done.stdout.splitlines()
    said = json.loads(line)
    assert set(said) == {"frames", "looks", "finals", "files", "archive", "seconds"}
    assert said["frames"] >= 40
    assert said["looks"] >= 4
    assert said["files"] >= said["finals"] >= 3
    archive = Path(said["archive"])
    assert archive.is_file()
    assert [path.name for path in archive.parent.parent.iterdir()] == ["delivery"]
    assert not (tmp_path / "unused").exists()
