"""A thousand frames on a phone: what is loaded, what moves, what stays in memory.

Limits: Core Web Vitals as published (web.dev/articles/cls: a layout shift of at most 0.1). How long things take is
measured by tests/benchmarks/sheet.py, not here.
"""

from __future__ import annotations

import gzip
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from django.contrib.staticfiles import finders
from django.urls import reverse
from playwright.sync_api import CDPSession, Page, expect

from galleries.models import Frame, Proof
from tests.browser.conftest import PHONE, Come
from tests.browser.test_marking import ready
from tests.cast import Cast
from tests.web.invitee.sheets import READING, proved

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
COUNT, LOOKS = 1000, 8


def thousand(cast: Cast, count: int = COUNT, small: tuple[int, int] = (80, 120)) -> None:
    """Rows for many frames that share one picture of the store."""
    looks = [cast.look(f"Look {n + 1}") for n in range(LOOKS)]
    first = proved(cast, 1, looks[0])
    made = first.proofs.get()
    Frame.objects.bulk_create(
        Frame(
            sitting=cast.sitting, look=looks[n * LOOKS // count], sha256=f"{n + 1:064x}", key=first.key,
            name=f"KAL_{n + 1:04d}.JPG", number=n + 1, bytes=1000, file_format="JPEG", width=4000, height=6000,
            captured_at=first.captured_at, reading=READING,
        )
        for n in range(1, count)
    )  # fmt: skip
    Proof.objects.bulk_create(
        Proof(
            frame=frame, recipe="p-test", large_key=made.large_key, large_width=400, large_height=600,
            small_key=made.small_key, small_width=small[0], small_height=small[1],
        )
        for frame in Frame.objects.exclude(pk=first.pk)
    )  # fmt: skip


def laid_out(page: Page, wire: CDPSession, act: Callable[[], object]) -> list[tuple[int, str]]:
    """Every layout of the page while something is done: how many boxes it went over, and the script that would not
    wait for it ("" where the browser did it when it was due)."""
    events: list[dict[str, Any]] = []
    ended: list[object] = []
    wire.on("Tracing.dataCollected", lambda event: events.extend(event["value"]))
    wire.once("Tracing.tracingComplete", lambda event: ended.append(event))
    categories = "disabled-by-default-devtools.timeline,disabled-by-default-devtools.timeline.stack,devtools.timeline"
    wire.send("Tracing.start", {"categories": categories, "transferMode": "ReportEvents"})
    act()
    wire.send("Tracing.end")
    while not ended:
        page.wait_for_timeout(20)
    layouts = [event["args"].get("beginData", {}) for event in events if event["name"] == "Layout"]
    ours = wire.send("Page.getFrameTree")["frameTree"]["frame"]["id"]  # the browser's own windows are pages too
    begun = [one for one in layouts if one.get("frame") == ours]
    return [(one["totalObjects"], (one.get("stackTrace") or [{"url": ""}])[0]["url"]) for one in begun]


def few_and_when_due(layouts: list[tuple[int, str]]) -> None:
    """Of some 8,000 boxes a phone lays out those of its screen and two more, as it draws, for no script before."""
    assert layouts, "nothing was traced"
    assert max(boxes for boxes, _script in layouts) < 1000, layouts
    assert not [script for _boxes, script in layouts if script], layouts


def weight(cast: Cast, asked: list[str]) -> int:
    """Bytes of the page and of its static files, compressed as they go out; the pictures are not among them."""
    sheet = reverse("sheet", args=[cast.sitting.slug])
    page = cast.client_of(cast.subject).get(sheet, headers={"accept-encoding": "gzip"})
    assert page.headers["Content-Encoding"] == "gzip"
    files = {path for url in asked if (path := urlsplit(url).path).startswith("/static/")}
    assert len(files) > 20
    parts = [Path(str(finders.find(path.removeprefix("/static/")))).read_bytes() for path in files]
    return len(page.content) + sum(len(gzip.compress(part)) for part in parts)


def to_the_end(page: Page, screens: int) -> list[int]:
    """Leap down the page, so many screens at a time; how high it was before each leap, in CSS px."""
    heights: list[int] = []
    for _ in range(400):
        at, whole = page.evaluate("[scrollY + innerHeight, document.documentElement.scrollHeight]")
        heights.append(whole)
        if at >= whole - 2:
            return heights
        page.evaluate("screens => scrollBy({ top: innerHeight * screens, behavior: 'instant' })", screens)
        page.wait_for_timeout(25)
    raise AssertionError("the end was not reached")


def test_a_thousand_frames_load_little_move_nothing_and_leave_no_trace(cast: Cast, come: Come) -> None:
    thousand(cast)
    device = come(cast.subject, **PHONE)
    page = device.page
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.add_init_script(
        """window.moved = 0;
        new PerformanceObserver((list) => {
          for (const entry of list.getEntries()) if (!entry.hadRecentInput) window.moved += entry.value;
        }).observe({ type: "layout-shift", buffered: true });"""
    )
    wire = device.context.new_cdp_session(page)

    def load() -> None:
        ready(device.open(f"/s/{cast.sitting.slug}/sheet"))
        expect(page.locator(".frame")).to_have_count(COUNT)
        page.wait_for_timeout(1000)

    few_and_when_due(laid_out(page, wire, load))
    # However long nobody touches the page: what the style sheet does after a time, it does now.
    page.evaluate("for (const one of document.getAnimations()) one.finish()")
    page.wait_for_timeout(500)
    pictures = [url for url in asked if "/files/proof/" in url]
    assert len(set(pictures)) == 6, f"{len(set(pictures))} pictures were fetched for the three rows on the screen"
    assert not [url for url in pictures if "/large/" in url]

    assert weight(cast, asked) < 80_000, "of the first screen's 250 kB six pictures of 23 kB each need the rest"

    def mark() -> None:
        page.locator("button.m.pick").first.tap()
        expect(page.locator("#allowance")).to_have_text("1 of 3 picked, 2 left.")

    few_and_when_due(laid_out(page, wire, mark))
    images = page.locator(".frame img")
    expect(images.nth(7)).to_have_js_property("naturalWidth", 80)  # a hand is there: the next row before it is seen
    heights = to_the_end(page, 4)
    page.wait_for_timeout(500)
    assert page.get_by_role("button", name="Pick 1000", exact=True).is_visible()
    moved = page.evaluate("window.moved")
    wire.send("HeapProfiler.collectGarbage")
    heap = page.evaluate("performance.memory.usedJSHeapSize") / 1e6
    print(f"CLS {moved:.3f}, heap {heap:.1f} MB, height {heights[0]} px at first and {heights[-1]} at the end")
    assert moved <= 0.1
    assert heap < 25
    assert abs(heights[0] / heights[-1] - 1) < 0.15, "the scroll bar told a tale"
