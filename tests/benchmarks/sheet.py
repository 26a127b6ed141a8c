"""The sheet of 1,000 frames and its large view on an emulated phone: how soon, how steady, and for how many bytes.

    python -m tests.benchmarks sheet [--frames 1000] [--runs 5] [--density 2] [--portraits 12]

Emulation: 390 × 844 px, CPU slowed four times, 1.6 Mbit/s down, 750 kbit/s up, 150 ms there and back (DevTools
protocol). Static files are collected and served compressed, as in use; pictures are proofs by the recipe (of the studio
portraits in ../shared/data/portraits, else of painted frames), each frame under an address of its own, with the
tracer of who asks.

Beside the seconds stands what does not hang on how busy the machine is: bytes, answers, layouts, and the processor
time of the page's own thread, of which a quarter is what a processor of full speed needs.

Limits: the largest paint, the layout shift and the interactions are Core Web Vitals (web.dev/articles/vitals: 2.5 s,
0.1 and 200 ms, at the 75th percentile); the house's own are tighter and stand beside each figure.
"""

from __future__ import annotations

import argparse
import os
import statistics
import tempfile
from dataclasses import dataclass, field
from itertools import islice
from typing import TYPE_CHECKING, Any

from portal import cookies
from tests.benchmarks.figures import figure

if TYPE_CHECKING:
    from playwright.sync_api import BrowserContext, Locator, Page

    from tests.cast import Cast

MARKED, STEPS, STEPPING = 12, 46, 2  # marks and steps of a run; runs that step
OBSERVE = """window.seen = { lcp: 0, fcp: 0, cls: 0, shown: [] };
const watch = (type, take, more = {}) => new PerformanceObserver((list) => list.getEntries().forEach(take))
  .observe({ type, buffered: true, ...more });
watch("largest-contentful-paint", (one) => {
  window.seen.lcp = one.startTime;
  window.seen.largest = `${one.element?.tagName} ${one.element?.className} ${one.size} px`;
  window.seen.address = one.url;
});
watch("paint", (one) => { if (one.name === "first-contentful-paint") window.seen.fcp = one.startTime; });
watch("layout-shift", (one) => { if (!one.hadRecentInput) window.seen.cls += one.value; });
watch("event", (one) => {
  if (one.interactionId) window.seen.shown.push([one.interactionId, one.name, one.duration, one.startTime]);
}, { durationThreshold: 16 });"""
# The parts of the largest paint (web.dev/articles/optimize-lcp: time to first byte, load delay, load, render delay),
# and when the page was there and read through. Without an address it was text.
PARTS = """() => {
  const [page] = performance.getEntriesByType("navigation"), { address, lcp } = window.seen;
  const at = page.responseStart;
  const file = performance.getEntriesByName(address)[0] ?? { requestStart: at, responseEnd: at };
  return {
    "first byte": at, "waits to be asked for": file.requestStart - at,
    "comes": file.responseEnd - file.requestStart, "waits to be drawn": lcp - file.responseEnd,
    "(page all there)": page.responseEnd, "(page read, scripts run)": page.domContentLoadedEventEnd,
  };
}"""
# A finger on the glass: from its lifting, by the event's own time, to the frame in which the mark is drawn, and to when
# the browser says that the frame after the lifting was on the glass (Event Timing, W3C; in steps of 8 ms). The finger
# stays for as long as one does that presses a button (common practice, no source); driver's taps lift in the same
# moment, which no finger does, and all that a browser makes of a touch then comes between the lifting and the frame.
HELD = 80  # ms
MARK = """(nth) => new Promise((done) => {
  const button = document.querySelectorAll("button.m.pick")[nth];
  button.addEventListener("pointerup", (event) => requestAnimationFrame(() => {
    const drawn = button.getAttribute("aria-pressed") === "true";
    const channel = new MessageChannel(); // the first task after the frame
    channel.port1.onmessage = () => done([performance.now() - event.timeStamp, drawn, event.timeStamp]);
    channel.port2.postMessage(0);
  }), { once: true });
  button.scrollIntoView({ block: "center", behavior: "instant" });
})"""
ENOUGH = 1.15  # of js/invitee/pictures.js
# Which file stands in the large picture, and whether it has as many pixels as the screen shows of it.
SHOWN = """() => {
  const picture = document.getElementById("large-picture"), box = picture.getBoundingClientRect();
  const kind = /\\/(small|middle|large)\\//.exec(picture.currentSrc)?.[1] ?? "";
  if (!picture.complete || !picture.naturalWidth) return ["", 0];
  return [kind, (box.width * devicePixelRatio) / picture.naturalWidth];
}"""


@dataclass
class Seen:
    """What the runs came to; times in milliseconds, bytes by kind for each run."""

    paints: list[dict[str, Any]] = field(default_factory=list)
    parts: list[dict[str, float]] = field(default_factory=list)  # of the largest paint
    marks: list[float] = field(default_factory=list)
    glass: list[float] = field(default_factory=list)  # the same to the glass, as the browser tells it
    interactions: list[float] = field(default_factory=list)
    first_screen: list[dict[str, float]] = field(default_factory=list)
    sharp: list[float] = field(default_factory=list)
    work: list[dict[str, float]] = field(default_factory=list)  # the page's own thread, until it was ready
    stepped: list[tuple[int, float, float]] = field(default_factory=list)  # frames, seconds, bytes of pictures
    heap: float = 0.0


def main(argv: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="sheet", description=__doc__)
    parser.add_argument("--frames", type=int, default=1000)
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--density", type=float, default=2)
    parser.add_argument("--portraits", type=int, default=12)
    options = parser.parse_args(argv)
    with tempfile.TemporaryDirectory(prefix="portal-bench-") as home:
        os.environ.update(PORTAL_HOME=home, DJANGO_SETTINGS_MODULE="portal.settings", DJANGO_ALLOW_ASYNC_UNSAFE="1")
        import django

        django.setup()
        import galleries.tasks  # noqa: F401

        measure(options)
    return 0


def measure(options: argparse.Namespace) -> None:
    from django.conf import settings
    from django.core.handlers.wsgi import WSGIHandler
    from django.core.management import call_command
    from django.test.testcases import LiveServerThread
    from django.test.utils import setup_test_environment

    setup_test_environment()
    call_command("migrate", verbosity=0)
    call_command("collectstatic", verbosity=0, interactive=False)
    from tests.browser.test_thousand import thousand
    from tests.cast import make_cast

    cast = make_cast()
    thousand(cast, options.frames, (320, 480))
    real_pictures(cast, options.portraits)
    client = cast.client_of(cast.subject)
    # As in a server that has been up a while.
    client.get(f"/s/{cast.sitting.slug}/sheet", headers={"host": "localhost"})
    cookie = client.cookies[settings.SESSION_COOKIE_NAME].value

    server = LiveServerThread("localhost", lambda _handler: WSGIHandler())  # WhiteNoise serves what was collected
    server.daemon = True
    server.start()
    server.is_ready.wait()
    seen = Seen()
    try:
        show(f"http://localhost:{server.port}", f"/s/{cast.sitting.slug}/sheet", cookie, options, seen)
    finally:
        server.terminate()
    report(options, seen)


def real_pictures(cast: Cast, count: int) -> None:
    """Put proofs by the recipe under the frames' rows, in turn, and weave in the subject's tracer beforehand: whoever
    opens a proof first waits for that, nobody after."""
    from galleries.imaging.output import encode
    from galleries.models import Proof
    from galleries.steps import derived
    from galleries.steps.keeping import trace
    from tests.benchmarks import trace as portraits

    rows = list(Proof.objects.select_related("frame__sitting").order_by("pk"))
    for number, pixels in enumerate(islice(portraits.plain(count), count)):
        frame = rows[number].frame
        files = derived.stamped(cast.sitting, frame, encode.encode_jpeg(pixels, quality=95), frame.label)
        (width, height), (small_width, small_height) = files.drawn.large_size, files.drawn.small_size
        Proof.objects.filter(pk__in=[row.pk for row in rows[number::count]]).update(
            large_key=files.large_key, middle_key=files.middle_key, small_key=files.small_key,
            large_width=width, large_height=height, small_width=small_width, small_height=small_height,
        )  # fmt: skip
        row = Proof.objects.select_related("frame__sitting").get(pk=rows[number].pk)
        for middle in (False, True):
            trace.traced_copy(row, cast.subject, middle=middle)


def show(address: str, path: str, cookie: str, options: argparse.Namespace, seen: Seen) -> None:
    from playwright.sync_api import sync_playwright

    from tests.browser.conftest import ARGUMENTS, CHROMIUM, PHONE

    phone = {**PHONE, "device_scale_factor": options.density}
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        for run in range(options.runs):
            context = browser.new_context(**phone, service_workers="block")  # type: ignore[arg-type]
            context.add_cookies([{"name": cookies.name("session", secure=False), "value": cookie, "url": address}])
            page, wire, bytes_of = slow_page(context)
            page.goto(address + path, wait_until="load", timeout=180_000)
            page.locator("html[data-ready]").wait_for(timeout=120_000)
            page.wait_for_timeout(1500)
            seen.work.append({one["name"]: one["value"] for one in wire.send("Performance.getMetrics")["metrics"]})
            seen.paints.append(page.evaluate("window.seen"))
            seen.parts.append(page.evaluate(PARTS))
            seen.first_screen.append(dict(bytes_of))
            for nth in range(MARKED):
                took, told = marked(page, wire, run * MARKED + nth)
                seen.marks.append(took)
                seen.glass.append(told)
            looked(page, wire, bytes_of, seen, stepping=run < STEPPING)
            every = page.evaluate("window.seen.shown")
            longest: dict[int, float] = {}
            for number, _name, duration, _began in every:
                longest[number] = max(longest.get(number, 0), duration)
            seen.interactions += longest.values()
            wire.send("HeapProfiler.collectGarbage")
            seen.heap = page.evaluate("performance.memory.usedJSHeapSize") / 1e6
            context.close()
        browser.close()


def slow_page(context: BrowserContext) -> tuple[Page, Any, dict[str, float]]:
    """A page on a slow line with a slow processor, and its bytes as they come: by kind, and the number of answers."""
    page = context.new_page()
    page.set_default_timeout(120_000)
    wire = context.new_cdp_session(page)
    wire.send("Network.enable")
    wire.send("Performance.enable", {"timeDomain": "threadTicks"})
    wire.send("Network.emulateNetworkConditions", {
        "offline": False, "latency": 150, "downloadThroughput": 200_000, "uploadThroughput": 93_750,
    })  # fmt: skip
    wire.send("Emulation.setCPUThrottlingRate", {"rate": 4})
    bytes_of: dict[str, float] = {"requests": 0}
    kinds: dict[str, str] = {}

    def asked(event: dict[str, Any]) -> None:
        url = event["request"]["url"]
        kinds[event["requestId"]] = url.rsplit("/", 2)[1] if "/files/proof/" in url else event.get("type", "Other")

    def came(event: dict[str, Any]) -> None:
        kind = kinds.get(event["requestId"], "Other")
        bytes_of[kind] = bytes_of.get(kind, 0) + event["encodedDataLength"]

    wire.on("Network.requestWillBeSent", asked)
    wire.on("Network.loadingFinished", came)
    wire.on("Network.responseReceived", lambda event: bytes_of.update(requests=bytes_of["requests"] + 1))
    page.add_init_script(OBSERVE)
    return page, wire, bytes_of


def marked(page: Page, wire: Any, nth: int, held: int = HELD) -> tuple[float, float]:
    """Milliseconds from the lifting of a finger that pressed a frame's pick: to the frame in which the mark is drawn,
    and from the pointer's last event to the glass as the browser tells it (NaN where it told nothing)."""
    waiting = page.evaluate_handle(f"(nth) => ({{ drawn: ({MARK})(nth) }})", nth)
    page.wait_for_timeout(100)  # the scrolling is through
    pressed_with_a_finger(page, wire, page.locator("button.m.pick").nth(nth), held)
    took, pressed, lifted = waiting.evaluate("(one) => one.drawn")
    assert pressed, "the mark was not drawn in the first frame after the press"
    page.wait_for_timeout(200)  # the entry comes after the frame
    told = page.evaluate(
        "(at) => window.seen.shown.filter((one) => one[1] === 'pointerup' && Math.abs(one[3] - at) < 1)[0]?.[2]", lifted
    )
    return float(took), float(told) if told is not None else float("nan")


def pressed_with_a_finger(page: Page, wire: Any, on: Locator, held: int = HELD) -> None:
    box = on.bounding_box()
    assert box
    point = {"x": box["x"] + box["width"] / 2, "y": box["y"] + box["height"] / 2}
    wire.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": [point]})
    page.wait_for_timeout(held)
    wire.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})


def looked(page: Page, wire: Any, bytes_of: dict[str, float], seen: Seen, *, stepping: bool) -> None:
    """Open a frame and stay until it is sharp; then step on and on, each time as soon as it is sharp on this screen."""
    cell = page.locator("a.open").nth(MARKED)
    cell.scroll_into_view_if_needed()
    pressed_with_a_finger(page, wire, cell)
    page.locator("dialog#large").wait_for()
    began = page.evaluate("performance.now()")
    seen.sharp.append(until_sharp(page, began, 12_000))
    if not stepping:
        return
    before, began = pictures(bytes_of), page.evaluate("performance.now()")
    for _ in range(STEPS):
        pressed_with_a_finger(page, wire, page.locator("[data-act=next]"))
        until_sharp(page, began, 60_000)
    spent = (page.evaluate("performance.now()") - began) / 1e3
    seen.stepped.append((STEPS, spent, pictures(bytes_of) - before))


def pictures(bytes_of: dict[str, float]) -> float:
    return sum(bytes_of.get(kind, 0) for kind in ("small", "middle", "large"))


def until_sharp(page: Page, began: float, most: float) -> float:
    """Milliseconds since `began` until a file stands in the picture that has a pixel for each of the screen's,
    stretched no further than the page goes before it fetches a larger one; infinite when none comes."""
    for _ in range(int(most / 20)):
        kind, stretch = page.evaluate(SHOWN)
        if kind in {"middle", "large"} and (kind == "large" or stretch <= ENOUGH):
            return float(page.evaluate("performance.now()")) - began
        page.wait_for_timeout(20)
    return float("inf")


def report(options: argparse.Namespace, seen: Seen) -> None:
    def at(values: list[float], share: float) -> float:
        return sorted(values)[min(len(values) - 1, int(share * len(values)))] if values else float("nan")

    def median(values: list[float]) -> float:
        return statistics.median(values) if values else float("nan")

    first = {kind: median([one.get(kind, 0) for one in seen.first_screen]) for kind in seen.first_screen[0]}
    requests = first.pop("requests")
    print(f"{options.frames} frames, {len(seen.paints)} loads, density {options.density}; load {os.getloadavg()}")
    print(f"first contentful paint    {median([one['fcp'] for one in seen.paints]) / 1e3:6.2f} s    median")
    print(f"largest contentful paint  {median([one['lcp'] for one in seen.paints]) / 1e3:6.2f} s    median (house 1.5)")
    print(f"  it was                  {seen.paints[-1].get('largest')}")
    for name in seen.parts[0]:
        print(f"  {name:24}{median([one[name] for one in seen.parts]) / 1e3:6.2f} s")
    print(f"layout shift              {max(one['cls'] for one in seen.paints):6.3f}      (house 0)")
    print(f"first screen              {sum(first.values()) / 1e3:6.0f} kB in {requests:.0f} answers (house 250)")
    for kind, size in sorted(first.items(), key=lambda one: -one[1]):
        print(f"  {kind:22}  {size / 1e3:6.0f} kB")
    print(
        f"mark drawn                {median(seen.marks):6.0f} ms   median, {at(seen.marks, 0.98):.0f} at p98 (house 50)"
    )
    glass = [one for one in seen.glass if one == one]
    print(f"  on the glass            {median(glass):6.0f} ms   median of {len(glass)}, as the browser tells it")
    print(
        f"interaction to next paint {at(seen.interactions, 0.98):6.0f} ms   p98 of {len(seen.interactions)} (house 200)"
    )
    print(f"large view sharp          {median(seen.sharp) / 1e3:6.2f} s    median of {len(seen.sharp)} (house 2.0)")
    figure("largest contentful paint", median([one["lcp"] for one in seen.paints]) / 1e3, "s", most=1.5)
    figure("layout shift", max(one["cls"] for one in seen.paints), "", most=0)
    figure("first screen", sum(first.values()) / 1e3, "kB", most=250)
    figure("mark drawn", median(seen.marks), "ms", most=50)
    figure("interaction to next paint, p98", at(seen.interactions, 0.98), "ms", most=200)
    figure("large view sharp", median(seen.sharp) / 1e3, "s", most=2)
    for count, seconds, size in seen.stepped:
        print(f"{count} frames stepped         {size / 1e6:6.2f} MB of pictures in {seconds:.0f} s (house 6)")
    print(f"heap                      {seen.heap:6.1f} MB")
    print("the page's own thread until it was ready, processor time (throttled: a quarter of it at full speed):")
    for name in ("TaskDuration", "ScriptDuration", "LayoutDuration", "RecalcStyleDuration"):
        print(f"  {name:22}  {median([one[name] for one in seen.work]) * 1e3:6.0f} ms")
    for name in ("LayoutCount", "RecalcStyleCount", "Nodes"):
        print(f"  {name:22}  {median([one[name] for one in seen.work]):6.0f}")
