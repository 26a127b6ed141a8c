"""The desk's large view with the arrow key held down: how soon after each key the next frame is on the screen.

    python -m tests.benchmarks desk [--frames 100] [--widths 1280 2560] [--pace 33]

Two ways in one run, in the same browser: the desk of a site with three times as many frames (stacks of three are one
step), and a page of the same pictures as files in a folder, with no site, queue or address at all, drawn as large.
Milliseconds from the key's own time to the first moment after a paint in which another picture stands decoded in its
place (while the key is held: the desk's own picture of 720 px, stretched over the stage), and until that paint was on
the screen, as the browser tells it (W3C Event Timing: a keydown's duration, to 8 ms). Then, the key let go, until the
sharp rendition stands. The processor time of the browser a step tells more than these on a busy machine. Pictures are
renditions of 24-megapixel frames, 720 and 3,000 px.
"""

from __future__ import annotations

import argparse
import json
import os
import tempfile
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from portal import cookies
from tests.benchmarks import frames
from tests.benchmarks.card import cpu_of
from tests.benchmarks.figures import figure

if TYPE_CHECKING:
    from playwright.sync_api import Page

    from tests.cast import Cast

MEDIAN_BOUND, P95_BOUND = 50.0, 100.0
SHARP_SIDE = 3000
WATCH = """() => {
  window.steps = [];
  window.shown = [];
  new PerformanceObserver((list) => {
    for (const one of list.getEntries()) if (one.name === "keydown") window.shown.push(one.duration);
  }).observe({ type: "event", durationThreshold: 16 });
  const standing = () => {
    const passing = document.querySelector("#large-passing");
    if (passing && !passing.hidden) return passing.dataset.frame;
    const picture = document.querySelector("#large-picture");
    return picture.complete && picture.naturalWidth ? picture : null;
  };
  document.addEventListener("keydown", (event) => {
    if (event.key !== "ArrowRight") return;
    const before = standing();
    const look = () => {
      const now = standing();
      if (!now || now === before) return requestAnimationFrame(look);
      const { port1, port2 } = new MessageChannel();
      port1.onmessage = () => window.steps.push(performance.now() - event.timeStamp);
      port2.postMessage(0);
    };
    requestAnimationFrame(look);
  }, { capture: true });
}"""
FILES = """<!doctype html><title>Files</title><style>body { margin: 0; background: #161616 }
img { display: block; width: 100vw; height: 100vh; object-fit: contain }</style><body>
<img id="large-picture" src="0.jpg"><script>
const files = %s;
let at = 0;
addEventListener("keydown", async (event) => {
  if (event.key !== "ArrowRight") return;
  const picture = Object.assign(new Image(), { id: "large-picture", src: files[++at %% files.length] });
  await picture.decode();
  document.querySelector("#large-picture").replaceWith(picture);
});
</script>"""


@dataclass
class Held:
    """What a held key came to, in milliseconds."""

    steps: list[float] = field(default_factory=list)
    shown: list[float] = field(default_factory=list)
    sharp: float = 0.0
    cpu: float = 0.0

    def at(self, share: float, of: str = "steps") -> float:
        values = sorted(getattr(self, of))
        return values[min(len(values) - 1, int(share * len(values)))] if values else float("inf")


def main(argv: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="desk", description=(__doc__ or "").split("\n")[0])
    parser.add_argument("--frames", type=int, default=100)
    parser.add_argument("--widths", type=int, nargs="+", default=[1280, 2560])
    parser.add_argument("--pace", type=float, default=33, help="ms between two keys of a held one")
    options = parser.parse_args(argv)
    with tempfile.TemporaryDirectory(prefix="portal-bench-") as home:
        os.environ.update(PORTAL_HOME=home, DJANGO_SETTINGS_MODULE="portal.settings", DJANGO_ALLOW_ASYNC_UNSAFE="1")
        import django

        django.setup()
        import galleries.tasks  # noqa: F401

        measure(options, Path(home))
    return 0


def measure(options: argparse.Namespace, home: Path) -> None:
    from django.conf import settings
    from django.core.handlers.wsgi import WSGIHandler
    from django.core.management import call_command
    from django.test.testcases import LiveServerThread
    from django.test.utils import setup_test_environment

    setup_test_environment()
    call_command("migrate", verbosity=0)
    call_command("collectstatic", verbosity=0, interactive=False)
    from tests.cast import make_cast

    cast = make_cast()
    page_of_files = pictures(cast, options.frames, home)
    cookie = cast.client_of(cast.owner).cookies[settings.SESSION_COOKIE_NAME].value
    server = LiveServerThread("localhost", lambda _handler: WSGIHandler())
    server.daemon = True
    server.start()
    server.is_ready.wait()
    try:
        show(f"http://localhost:{server.port}", f"/studio/{cast.sitting.slug}/desk", cookie, page_of_files, options)
    finally:
        server.terminate()


def pictures(cast: Cast, count: int, home: Path) -> Path:
    """Renditions as the worker leaves them under three times so many frames, and the small ones in a folder beside the
    page that shows them: its path."""
    from galleries.imaging.contained import door
    from galleries.steps import derived
    from tests.browser.studio_stage import many_frames

    print("making pictures …", flush=True)
    paths = [path for _kind, path in frames.camera_files(6)]
    sides = (derived.DESK_SIDE, derived.VIEW_SIDE)
    views = {side: [door.make_view(path, side) for path in paths] for side in sides}
    for nth, frame in enumerate(many_frames(cast, 3 * count + 3, looks=3)):
        for side in sides:
            place = derived.view_place(cast.sitting, frame.sha256, side)
            place.store.delete(place.key)
            place.kept(lambda nth=nth, side=side: views[side][nth % len(paths)])  # type: ignore[misc]
    folder = home / "card"
    folder.mkdir()
    for nth in range(count + 1):
        (folder / f"{nth}.jpg").write_bytes(views[sides[0]][nth % len(paths)])
    page = folder / "index.html"
    page.write_text(FILES % json.dumps([f"{nth}.jpg" for nth in range(count + 1)]))
    return page


def show(address: str, path: str, cookie: str, files: Path, options: argparse.Namespace) -> None:
    from playwright.sync_api import sync_playwright

    from tests.browser.conftest import ARGUMENTS, CHROMIUM

    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        for width in options.widths:
            held: dict[str, Held] = {}
            for name in ("desk", "files"):
                context = browser.new_context(
                    viewport={"width": width, "height": width * 9 // 16}, service_workers="block"
                )
                context.add_cookies([{"name": cookies.name("session", secure=False), "value": cookie, "url": address}])
                page = context.new_page()
                page.set_default_timeout(60_000)
                if name == "desk":
                    page.goto(address + path)
                    page.locator("#tally").get_by_text("frames,").wait_for()
                    page.keyboard.press("ArrowRight")
                    page.keyboard.press("Enter")
                    page.locator("#large").wait_for()
                else:
                    page.goto(files.as_uri())
                page.wait_for_timeout(1500)  # looked at for a moment, as one does
                held[name] = down(page, options, sharp=name == "desk")
                context.close()
            report(width, held, options)
        browser.close()


def down(page: Page, options: argparse.Namespace, *, sharp: bool) -> Held:
    """Hold the arrow key down for so many frames."""
    page.evaluate(WATCH)
    before = of_browser()
    for _ in range(options.frames):
        page.keyboard.down("ArrowRight")
        page.wait_for_timeout(options.pace)
    page.keyboard.up("ArrowRight")
    released = page.evaluate("performance.now()")
    page.wait_for_function("(most) => window.steps.length >= most", arg=options.frames * 0.95, timeout=60_000)
    page.wait_for_timeout(300)  # the browser tells durations afterwards
    shown = page.evaluate("window.shown")
    spent = (of_browser() - before) / options.frames * 1e3
    held = Held(page.evaluate("window.steps"), shown + [16.0] * (options.frames - len(shown)), cpu=spent)
    if sharp:
        large = "(side) => Math.max(document.querySelector('#large-picture').naturalWidth, " \
                "document.querySelector('#large-picture').naturalHeight) >= side"  # fmt: skip
        page.wait_for_function(large, arg=SHARP_SIDE * 0.9)
        held.sharp = page.evaluate("performance.now()") - released
    return held


def of_browser() -> float:
    """Seconds of CPU of all processes that were started from here: the browser's, with what drives it."""
    mine = sum(os.times()[:2])
    return cpu_of(os.getpid()) - mine - sum(os.times()[2:4])


def report(width: int, held: dict[str, Any], options: argparse.Namespace) -> None:
    desk, files = held["desk"], held["files"]
    print(f"{width} px, {options.frames} keys, one each {options.pace:g} ms; load {os.getloadavg()}")
    for name, one in held.items():
        print(
            f"  {name:6} median {one.at(0.5):6.0f} ms, p95 {one.at(0.95):6.0f} ms, worst {one.at(1):6.0f} ms;"
            f" shown {one.at(0.5, 'shown'):6.0f}, {one.at(0.95, 'shown'):6.0f} ms; {one.cpu:.0f} ms of CPU a step"
        )
    print(f"  desk against files: {desk.at(0.5) / files.at(0.5):.2f} times at the median; to reach 50 and 100 ms")
    print(f"  sharp {desk.sharp:.0f} ms after the key was let go", flush=True)
    figure(f"next frame on the screen, median, {width} px", desk.at(0.5), "ms", most=MEDIAN_BOUND)
    figure(f"next frame on the screen, p95, {width} px", desk.at(0.95), "ms", most=P95_BOUND)
    figure(f"the same against files in a folder, {width} px", desk.at(0.5) / files.at(0.5), "times")
