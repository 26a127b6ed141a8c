"""`python -m tests.fuzz TARGET --runs N [--seconds S] [--found FOLDER]`: executions, and what was found.

Coverage-guided (Atheris on libFuzzer) over the code in Python; what lies in compiled libraries is met by luck and by
seeds only. The fuzzing runs in a process of its own: one that dies (a fault in a library) is a finding, and another
goes on. Findings are files: the input, and beside it what it raised.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from tests.fuzz.counter import COUNT

NAMES = ("opener", "metadata", "archive", "json")
HANG_SECONDS, MEMORY_MB = 30, 3000


def main(argv: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=(__doc__ or "").split("\n")[0])
    parser.add_argument("target", choices=NAMES)
    parser.add_argument("--runs", type=int, default=1_000_000)
    parser.add_argument("--seconds", type=float, default=1800)
    parser.add_argument("--found", type=Path, default=Path(".cache/fuzz"), help="where findings and inputs are kept")
    wanted = parser.parse_args(argv)
    home = wanted.found / wanted.target
    for folder in (home / "inputs", home / "findings"):
        folder.mkdir(parents=True, exist_ok=True)
    started, done, deaths = time.monotonic(), 0, 0
    while done < wanted.runs and (left := wanted.seconds - (time.monotonic() - started)) > 1:
        count, status = _one_process(wanted.target, home, wanted.runs - done, left)
        done += count
        deaths += status != 0
        if status and not count:
            print(f"The fuzzing process ended with {status} before its first input.", file=sys.stderr)
            return 2
    seconds = time.monotonic() - started
    findings = sorted(path.name for path in (home / "findings").iterdir() if path.suffix != ".txt")
    print(f"{wanted.target}: {done:,} executions in {seconds:.0f} s, {len(findings)} findings, {deaths} processes died")
    for name in findings:
        print(f"  {home / 'findings' / name}")
    return 1 if findings else 0


def _one_process(target: str, folder: Path, runs: int, seconds: float) -> tuple[int, int]:
    """Executions and exit status of one fuzzing process."""
    with tempfile.TemporaryDirectory(dir="/dev/shm" if os.access("/dev/shm", os.W_OK) else None) as home:
        counter = Path(home, "count")
        counter.write_bytes(bytes(COUNT.size))
        command = [sys.executable, "-m", "tests.fuzz.child", target, str(folder.resolve()), str(counter)]
        command += [f"-runs={runs}", f"-max_total_time={max(1, int(seconds))}", f"-timeout={HANG_SECONDS}"]
        command += [f"-rss_limit_mb={MEMORY_MB}", f"-artifact_prefix={folder.resolve()}/findings/died-"]
        env = {**os.environ, "TMPDIR": home, "VIPS_CONCURRENCY": "1", "OMP_NUM_THREADS": "1"}
        with (folder / "log").open("ab") as log:
            done = subprocess.run(command, check=False, env=env, stdout=log, stderr=log)
        return COUNT.unpack(counter.read_bytes())[0], done.returncode


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
