"""The sheet of 1,000 frames on an emulated phone: first and largest paint, and how soon a mark is on the screen.

    python -m tests.benchmarks sheet [--frames 1000] [--runs 3]

Emulation: 390 px, CPU slowed four times, 1.6 Mbit/s down, 750 kbit/s up, 150 ms there and back (DevTools protocol).
Limits, as published (Core Web Vitals, web.dev/articles/vitals): largest contentful paint within 2.5 s, interaction to
next paint within 200 ms, both at the 75th percentile.
"""

from __future__ import annotations

import argparse
import os
import statistics
import tempfile
from typing import Any

from portal import cookies

OBSERVE = """window.seen = { lcp: 0, fcp: 0, cls: 0 };
const watch = (type, take) => new PerformanceObserver((list) => list.getEntries().forEach(take))
  .observe({ type, buffered: true });
watch("largest-contentful-paint", (one) => { window.seen.lcp = one.startTime; });
watch("paint", (one) => { if (one.name === "first-contentful-paint") window.seen.fcp = one.startTime; });
watch("layout-shift", (one) => { if (!one.hadRecentInput) window.seen.cls += one.value; });"""
# From the press to the frame after the one in which the mark was drawn.
MARK = """(nth) => new Promise((done) => {
  const button = document.querySelectorAll("button.m.pick")[nth], from = performance.now();
  button.click();
  requestAnimationFrame(() => requestAnimationFrame(() => {
    done([performance.now() - from, button.getAttribute("aria-pressed")]);
  }));
})"""


def main(argv: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="sheet", description=__doc__)
    parser.add_argument("--frames", type=int, default=1000)
    parser.add_argument("--runs", type=int, default=3)
    options = parser.parse_args(argv)
    with tempfile.TemporaryDirectory(prefix="portal-bench-") as home:
        os.environ.update(PORTAL_HOME=home, DJANGO_SETTINGS_MODULE="portal.settings", DJANGO_ALLOW_ASYNC_UNSAFE="1")
        import django

        django.setup()
        import galleries.tasks  # noqa: F401

        measure(options.frames, options.runs)
    return 0


def measure(frames: int, runs: int) -> None:
    from django.conf import settings
    from django.contrib.staticfiles.handlers import StaticFilesHandler
    from django.core.management import call_command
    from django.test.testcases import LiveServerThread
    from django.test.utils import setup_test_environment

    settings.STORAGES["staticfiles"] = {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}
    setup_test_environment()
    call_command("migrate", verbosity=0)
    from tests.browser.test_thousand import thousand
    from tests.cast import make_cast

    cast = make_cast()
    thousand(cast, frames, (320, 480))
    client = cast.client_of(cast.subject)
    # As in a server that has been up a while.
    client.get(f"/s/{cast.sitting.slug}/sheet", headers={"host": "localhost"})
    cookie = client.cookies[settings.SESSION_COOKIE_NAME].value
    server = LiveServerThread("localhost", StaticFilesHandler)
    server.daemon = True
    server.start()
    server.is_ready.wait()
    try:
        show(f"http://localhost:{server.port}", f"/s/{cast.sitting.slug}/sheet", cookie, frames, runs)
    finally:
        server.terminate()


def show(address: str, path: str, cookie: str, frames: int, runs: int) -> None:
    from playwright.sync_api import sync_playwright

    from tests.browser.conftest import ARGUMENTS, CHROMIUM, PHONE

    paints: list[dict[str, float]] = []
    marks: list[float] = []
    heap = sent = 0.0
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        for run in range(runs):
            context = browser.new_context(**PHONE, service_workers="block")  # type: ignore[arg-type]
            context.add_cookies([{"name": cookies.name("session", secure=False), "value": cookie, "url": address}])
            page = context.new_page()
            wire = context.new_cdp_session(page)
            wire.send("Network.enable")
            wire.send("Network.emulateNetworkConditions", {
                "offline": False, "latency": 150, "downloadThroughput": 200_000, "uploadThroughput": 93_750,
            })  # fmt: skip
            wire.send("Emulation.setCPUThrottlingRate", {"rate": 4})
            received = {"bytes": 0.0}
            wire.on(
                "Network.loadingFinished",
                lambda event, r=received: r.update(bytes=r["bytes"] + event["encodedDataLength"]),
            )
            page.add_init_script(OBSERVE)
            page.goto(address + path, wait_until="load", timeout=120_000)
            page.locator("html[data-ready]").wait_for(timeout=60_000)
            page.wait_for_timeout(1500)
            paints.append(page.evaluate("window.seen"))
            sent = received["bytes"] / 1e3
            for nth in range(12):
                took, pressed = page.evaluate(MARK, run * 12 + nth)
                assert pressed == "true", "the mark was not shown"
                marks.append(took)
            wire.send("HeapProfiler.collectGarbage")
            heap = page.evaluate("performance.memory.usedJSHeapSize") / 1e6
            context.close()
        browser.close()
    report(frames, paints, marks, heap, sent)


def report(frames: int, paints: list[dict[str, Any]], marks: list[float], heap: float, sent: float) -> None:
    def p75(values: list[float]) -> float:
        return statistics.quantiles(values, n=4)[2] if len(values) > 1 else values[0]

    print(f"{frames} frames, {len(paints)} loads, {len(marks)} marks; 75th percentiles")
    print(f"first contentful paint    {p75([one['fcp'] for one in paints]) / 1e3:6.2f} s")
    print(f"largest contentful paint  {p75([one['lcp'] for one in paints]) / 1e3:6.2f} s   (limit 2.5)")
    print(f"layout shift              {max(one['cls'] for one in paints):6.3f}     (limit 0.1)")
    print(f"mark on the screen        {p75(marks):6.0f} ms  (limit 200)")
    print(f"heap                      {heap:6.1f} MB")
    print(f"sent before a scroll      {sent:6.0f} kB")
