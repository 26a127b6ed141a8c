"""The benchmarks' own machinery: told to end they end their servers; figures have one schema and bounds that can be
missed; a busy machine is named and its figures are not shown."""

from __future__ import annotations

import copy
import json
import os
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from tests.benchmarks import __main__ as command
from tests.benchmarks import figures, timing, whole

ROOT = Path(__file__).resolve().parents[1]
SERVER = """
import signal, sys
signal.signal(signal.SIGINT, signal.SIG_IGN)  # as in a shell's background
from pathlib import Path
from tests import servers
from tests.benchmarks import __main__ as command
command.end_in_order()
sleep = [sys.executable, "-c", "import time; time.sleep(600)"]
with servers.running(sleep, "", lambda: True, Path(sys.argv[1])) as one:
    print(one.process.pid, flush=True)
    one.process.wait()
"""
RUN: dict[str, Any] = {
    "at": "2026-03-02T10:00:00+00:00",
    "machine": {"processor": "Two Cores", "cores": 2, "memory_gb": 8.0, "python": "3.11"},
    "benchmarks": [
        {
            "name": "crowd", "options": [], "seconds": 9, "ended": 0,
            "quiet": {"share": 1.0, "others": 0.01, "believed": True},
            "figures": [{"name": "mark, p95", "value": 150.42, "unit": "ms", "most": 200, "reached": True}],
        }
    ],
}  # fmt: skip


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT, signal.SIGHUP])
def test_a_benchmark_that_is_told_to_end_ends_its_servers(tmp_path: Path, number: signal.Signals) -> None:
    words = [sys.executable, "-c", SERVER, str(tmp_path / "log")]
    with subprocess.Popen(words, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True) as process:
        assert process.stdout is not None
        server = int(process.stdout.readline())
        os.kill(server, 0)
        process.send_signal(number)
        try:
            assert process.wait(30) != 0
        finally:
            process.kill()
    with pytest.raises(ProcessLookupError):
        os.kill(server, 0)


def test_figures_are_lines_of_one_schema_with_bounds_that_can_be_missed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    figures.figure("nobody asks", 1)
    monkeypatch.setenv(figures.FILE, str(tmp_path / "figures"))
    figures.figure("mark, p95", 2200, "ms", most=200)
    figures.figure("two workers against one", 1.9, "times", least=1.85)
    figures.figure("requests", 73, "a second")
    rows = [json.loads(line) for line in (tmp_path / "figures").read_text().splitlines()]
    assert [figures.reached(row) for row in rows] == [False, True, None]
    assert rows[0] == {"name": "mark, p95", "value": 2200.0, "unit": "ms", "most": 200}


def test_a_cost_beside_its_measure_is_the_median_of_each_rounds_own_ratio() -> None:
    """A machine that is slower for a while is slower for both."""
    speeds, order = iter([1.0] * 8 + [3.0] * 8 + [1.0] * 8), []

    def takes(ms: float, name: str) -> float:
        order.append(name)
        return ms * next(speeds)

    told = timing.beside(lambda: takes(5, "work"), lambda: takes(2, "measure"), rounds=3, each=3)
    assert told == timing.Beside(ms=5.0, measure_ms=2.0, times=2.5)
    assert [order[at] for at in (0, 4, 8, 12, 16, 20)] == ["work", "measure", "measure", "work", "work", "measure"]


def test_every_benchmark_has_a_short_setting_or_a_reason_and_all_fit_in_twenty_minutes() -> None:
    assert set(command.names()) == set(whole.SHORT) | set(whole.APART)
    assert not set(whole.SHORT) & set(whole.APART)
    assert sum(seconds for _options, seconds in whole.SHORT.values()) <= 1200
    assert {name for name, _figure in whole.HEADLINES} <= set(whole.SHORT)


def test_headlines_of_a_run_that_was_not_made_are_refused_in_words(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as ended:
        whole.main(["--readme", "--to", str(tmp_path / "none.json")])
    assert ended.value.code == 2
    assert "none.json is not there; a run without --readme writes it" in capsys.readouterr().err


def test_headlines_stand_in_readme_with_the_machine_unless_it_was_busy(tmp_path: Path) -> None:
    readme = tmp_path / "README.md"
    readme.write_text(f"a\n{whole.BEGIN}\nold\n{whole.END}\nb\n")
    busy = copy.deepcopy(RUN)
    busy["benchmarks"][0]["quiet"]["believed"] = False
    assert whole.into_readme(busy, readme) == 1
    assert "old" in readme.read_text()
    assert whole.into_readme(RUN, readme) == 0
    text = readme.read_text()
    assert "old" not in text
    assert "On Two Cores, 2 cores, 8.0 GB, 2026-03-02:" in text
    assert "mark, p95 150 ms (`crowd`, at most 200 wanted)" in text
    assert text.startswith("a\n")
    assert text.endswith("b\n")
    assert all(marker in (whole.ROOT / "README.md").read_text() for marker in (whole.BEGIN, whole.END))
