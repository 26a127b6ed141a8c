"""A frame that is opened large has the line to itself: what the sheet asked for before, and what is kept for the time
without a network, gives way and is asked for again.

The server keeps small pictures waiting for as long as a test wants; a browser opens six connections to one host over
HTTP/1.1 (Chromium's limit; RFC 9112, 9.4 leaves the number to the client), so whatever does not give way stands before
the large one for good.
"""

from __future__ import annotations

import re
import threading
from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Page, Route, expect

from galleries.web import straight
from tests.browser.conftest import PHONE, Come
from tests.browser.test_marking import ready
from tests.browser.test_thousand import thousand
from tests.cast import Cast

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
COUNT, AT_ONCE = 60, 6  # frames; of which those of the first screen come at once
LARGE = """() => {
  const picture = document.getElementById("large-picture");
  return picture.complete && picture.naturalWidth > 0 && /\\/(middle|large)\\//.test(picture.currentSrc)
    && picture.currentSrc.includes(`/proof/${location.hash.slice("#frame-".length)}/`);
}"""
BLANK = """() => [...document.querySelectorAll(".film > .frame img")].filter((one) => {
  const { top, bottom } = one.parentElement.getBoundingClientRect();
  return bottom > 0 && top < innerHeight && !(one.complete && one.naturalWidth);
}).length"""


class Line:
    """Small pictures of later frames wait until `open` is set; `asked`: their frames, as often as they were wanted."""

    def __init__(self, first: int) -> None:
        self.first, self.asked, self.open = first, list[int](), threading.Event()
        self._answer = straight._small

    def answer(self, request: Any, key: str, frame: int, *rest: Any) -> Any:
        if frame >= self.first + AT_ONCE:
            self.asked.append(frame)
            self.open.wait(120)
        return self._answer(request, key, frame, *rest)


@pytest.fixture
def line(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> Iterator[Line]:
    thousand(cast, COUNT)
    first = cast.sitting.frames.order_by("number").values_list("pk", flat=True)[0]
    line = Line(first)
    monkeypatch.setattr(straight, "_small", line.answer)
    yield line
    line.open.set()


def scrolled(page: Page) -> None:
    page.evaluate("scrollBy({ top: 1.5 * innerHeight, behavior: 'instant' })")
    page.wait_for_function(f"() => ({BLANK})() > 3")
    page.wait_for_timeout(300)  # they are asked for


def nothing_blank(page: Page) -> None:
    page.wait_for_function(f"() => ({BLANK})() === 0", timeout=30_000)


def opened(page: Page) -> None:
    frames = page.locator(".film > .frame a.open")
    seen = frames.evaluate_all(
        """all => all.findIndex((one) => {
          const { top, bottom } = one.getBoundingClientRect();
          return top > 50 && bottom < innerHeight - 100;
        })"""
    )
    frames.nth(seen).tap()
    page.wait_for_function(LARGE, timeout=20_000)


def test_small_pictures_of_the_sheet_give_way_and_come_again(cast: Cast, come: Come, line: Line) -> None:
    device = come(cast.subject, **PHONE, service_workers="block")
    page = ready(device.open(f"/s/{cast.sitting.slug}/sheet"))
    scrolled(page)
    assert len(line.asked) >= AT_ONCE, "the line is full"
    opened(page)
    for _ in range(3):  # what comes again meanwhile gives way to the next
        page.wait_for_timeout(300)
        page.locator("#large [data-act=next]").tap()
        page.wait_for_function(LARGE, timeout=20_000)
    assert page.locator("#said").inner_text() == "", "no picture failed"
    page.locator("#large [data-act=close]").tap()
    line.open.set()
    nothing_blank(page)


def test_under_the_large_view_they_come_once_its_own_are_there(cast: Cast, come: Come, line: Line) -> None:
    device = come(cast.subject, **PHONE, service_workers="block")
    page = ready(device.open(f"/s/{cast.sitting.slug}/sheet"))
    scrolled(page)
    wanted = page.evaluate(BLANK)
    opened(page)
    line.open.set()
    there = '() => [...document.querySelectorAll(".film > .frame img")].filter((one) => one.naturalWidth).length'
    page.wait_for_function(f"() => ({there})() >= {AT_ONCE + wanted}", timeout=20_000)
    assert page.locator("dialog#large").is_visible()
    page.locator("#large [data-act=close]").tap()
    nothing_blank(page)


def test_what_is_kept_for_later_gives_way_too_and_is_whole_in_the_end(cast: Cast, come: Come, line: Line) -> None:
    device = come(cast.subject, **PHONE)
    page = ready(device.open(f"/s/{cast.sitting.slug}/sheet"))
    html = page.locator("html")
    expect(html).to_have_attribute("data-kept", re.compile(r"\d+"))
    while len(line.asked) < 4:
        page.wait_for_timeout(50)
    scrolled(page)
    opened(page)
    page.locator("#large [data-act=next]").tap()
    page.wait_for_function(LARGE, timeout=20_000)
    page.locator("#large [data-act=close]").tap()
    assert html.get_attribute("data-whole") is None
    line.open.set()
    expect(html).to_have_attribute("data-whole", str(COUNT), timeout=30_000)
    nothing_blank(page)
    kept = "async () => (await (await caches.open('sheet')).keys()).filter(({ url }) => /\\/small\\//.test(url)).length"
    assert page.evaluate(kept) == COUNT


def test_nothing_is_kept_for_later_while_a_frame_that_was_opened_has_not_come(
    cast: Cast, come: Come, line: Line
) -> None:
    device = come(cast.subject, **PHONE)
    page = ready(device.open(f"/s/{cast.sitting.slug}/sheet"))
    html = page.locator("html")
    expect(html).to_have_attribute("data-kept", re.compile(r"\d+"))
    held: list[Route] = []
    holding = True
    page.route("**/files/proof/*/large/*", lambda route: held.append(route) if holding else route.continue_())
    page.locator(".film > .frame a.open").first.tap()
    while not held:
        page.wait_for_timeout(50)
    line.open.set()
    page.wait_for_timeout(3000)
    assert html.get_attribute("data-whole") is None
    holding = False
    for route in held:
        route.continue_()
    page.wait_for_function(LARGE, timeout=20_000)
    expect(html).to_have_attribute("data-whole", str(COUNT), timeout=30_000)


def test_a_page_that_went_while_somebody_looked_holds_up_nothing(cast: Cast, come: Come, line: Line) -> None:
    device = come(cast.subject, **PHONE)
    page = ready(device.open(f"/s/{cast.sitting.slug}/sheet"))
    expect(page.locator("html")).to_have_attribute("data-kept", re.compile(r"\d+"))
    page.evaluate("navigator.serviceWorker.controller.postMessage({ looking: true })")
    page.close()
    line.open.set()
    again = device.page = device.tab()
    device.open(f"/s/{cast.sitting.slug}/about-me")
    kept = "async () => (await (await caches.open('sheet')).keys()).filter(({ url }) => /\\/small\\//.test(url)).length"
    again.wait_for_function(f"async () => (await ({kept})()) === {COUNT}", timeout=30_000)
