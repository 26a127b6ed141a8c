"""A long sheet: the first screens come as cells, the others are made of data before anybody sees their place."""

from __future__ import annotations

import re

import pytest
from django.urls import reverse
from playwright.sync_api import Page, Route, expect

from galleries.models import Frame, Mark, Sitting
from galleries.steps.picking import pick
from galleries.web.invitee.strips import FIRST_CELLS
from tests.browser.conftest import PHONE, Come
from tests.browser.test_marking import ready
from tests.browser.test_thousand import thousand, to_the_end
from tests.cast import Cast
from tests.web.invitee.sheets import filled

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
COUNT = 480
# A browser that is never idle, and what moves on its screen.
BUSY = """window.requestIdleCallback = () => 0;
window.moved = [];
new PerformanceObserver((list) => {
  for (const { hadRecentInput, value, sources } of list.getEntries())
    if (!hadRecentInput) for (const { node, previousRect: before, currentRect: now } of sources)
      moved.push(`${value.toFixed(3)} ${node?.nodeName} ${node?.className} ${node?.id} ${before.y} to ${now.y}, ` +
        `${before.height} to ${now.height} high`);
}).observe({ type: "layout-shift", buffered: true });"""
# Each cell as it stands in the page, but for what hangs on where it lies: how its picture is fetched. A picture's size
# is the small proof's or the large one's, of the same shape.
CELLS = """() => [...document.querySelectorAll(".film > .frame")].map((cell) => {
  const copy = cell.cloneNode(true), picture = copy.querySelector("img");
  picture.alt = (picture.getAttribute("width") / picture.getAttribute("height")).toFixed(3);
  for (const name of ["width", "height", "loading", "fetchpriority", "data-near"]) picture.removeAttribute(name);
  const sorted = (one) => [one.nodeName, ...[...one.attributes].map(({ name, value }) => `${name}=${value}`).sort()];
  return [copy, ...copy.querySelectorAll("*")].map((one) => sorted(one).join(" ")).join("|") + copy.textContent;
})"""


@pytest.fixture
def late(cast: Cast) -> Frame:
    """The last frame of a long sheet, on which several people said several things of frames far down."""
    thousand(cast, COUNT)
    Sitting.objects.update(suggestions_shown=True)
    frames = list(cast.sitting.frames.order_by("number"))
    frames[440].run = frames[441].run = 7
    frames[442].suggested = True
    Frame.objects.bulk_update(frames[440:443], ["run", "suggested"])
    for who, number, kind, note in (
        (cast.as_subject, 400, "pick", None), (cast.as_subject, 401, "strike", "<b>Mine</b> & mine"),
        (cast.as_subject, 402, "", "A note alone"), (cast.as_representation, 400, "alternate", None),
        (cast.as_representation, 403, "pick", None),
    ):  # fmt: skip
        pick.set_mark(who, frames[number].pk, kind=kind, note=note)
    return frames[-1]


def sheet(cast: Cast) -> str:
    return reverse("sheet", args=[cast.sitting.slug])


def reached(page: Page, late: Frame) -> None:
    expect(page.locator(f"#f{late.pk}")).to_be_in_viewport()


def test_frames_come_before_their_place_is_seen_and_nothing_moves(cast: Cast, come: Come, late: Frame) -> None:
    device = come(cast.subject, **PHONE)
    device.context.add_init_script(BUSY)
    page = ready(device.open(sheet(cast)))
    cells = page.locator(".frame")
    expect(cells).to_have_count(FIRST_CELLS)
    heights = to_the_end(page, 3)
    expect(page.locator(".rest")).to_have_count(0)
    expect(cells).to_have_count(COUNT)
    reached(page, late)
    assert max(heights) - min(heights) < 0.002 * max(heights), "the scroll bar told a tale"
    moved = page.evaluate("moved")
    assert not moved, "\n".join(moved)

    again = ready(device.open(f"{sheet(cast)}?again#f{late.pk}"))  # a copied address, the browser never idle
    reached(again, late)
    assert cells.count() < COUNT
    again.get_by_role("button", name=f"Alternate {late.label}", exact=True).tap()
    expect(again.locator(f"#f{late.pk} .drawn.subject.alternate")).to_have_count(1)
    expect(again.locator("#sending")).to_have_text("Everything is sent.")
    assert Mark.objects.get(invite=cast.subject, frame=late).kind == "alternate"
    again.get_by_role("button", name="Your picks").tap()
    expect(again.get_by_role("dialog", name="Your picks").get_by_role("img")).to_have_count(2)


def test_at_a_desk_a_leap_into_the_middle_moves_nothing(cast: Cast, come: Come, late: Frame) -> None:
    device = come(cast.subject, viewport={"width": 1920, "height": 1080})
    device.context.add_init_script(BUSY)
    page = ready(device.open(sheet(cast)))
    heights = {page.evaluate("document.documentElement.scrollHeight")}
    for look in (3, 6):  # between two looks, neither of which has a cell yet
        page.evaluate(f"document.querySelector('#strip-{look}').scrollIntoView({{ behavior: 'instant' }})")
        page.evaluate("scrollBy({ top: -innerHeight / 2, behavior: 'instant' })")
        expect(page.locator(f"#strip-{look} .frame").first).to_be_in_viewport()
        expect(page.locator(f"#strip-{look - 1} .frame").last).to_be_in_viewport()
        expect(page.locator(f"#strip-{look - 1} .rest")).to_have_count(0)
        heights.add(page.evaluate("document.documentElement.scrollHeight"))
    assert max(heights) - min(heights) < 10
    assert page.evaluate("moved") == []


def test_an_idle_browser_has_the_whole_sheet_as_the_server_writes_it(cast: Cast, come: Come, late: Frame) -> None:
    device = come(cast.subject)
    page = ready(device.open(sheet(cast)))
    expect(page.locator(".frame")).to_have_count(COUNT)
    cells = page.evaluate(CELLS)
    page = ready(device.open(f"{sheet(cast)}?whole=1"))
    assert cells == page.evaluate(CELLS)


def test_without_scripts_all_frames_are_there_and_a_mark_far_down_is_taken(cast: Cast, come: Come, late: Frame) -> None:
    page = come(cast.subject, java_script_enabled=False).open(sheet(cast))
    button = page.get_by_role("button", name=f"Pick {late.label}", exact=True)
    button.click()  # it waits for the page that has it
    expect(page).to_have_url(f"{page.url.split('/s/')[0]}{sheet(cast)}?whole=1#f{late.pk}")
    expect(button).to_have_attribute("aria-pressed", "true")
    assert page.locator(".frame").count() == COUNT
    assert page.locator(".rest").count() == 0


def test_a_mark_that_is_pressed_before_the_scripts_run_waits_for_them(cast: Cast, come: Come) -> None:
    (frame,) = filled(cast, 1, 1)
    device = come(cast.subject, **PHONE)
    page = device.page
    held: list[Route] = []
    page.route(re.compile(r"/invitee/sheet(\.[0-9a-f]+)?\.js$"), lambda route: held.append(route))
    page.goto(f"{device.address}/s/{cast.sitting.slug}/sheet", wait_until="domcontentloaded")
    page.evaluate("window.same = true")
    button = page.locator(f"#f{frame.pk} button.pick")
    button.click()
    while not held:
        page.wait_for_timeout(20)
    button.click()
    assert not Mark.objects.exists()
    held[0].continue_()
    expect(button).to_have_attribute("aria-pressed", "true")
    expect(page.locator("#sending")).to_have_attribute("data-state", re.compile("sent|^$"))
    assert page.evaluate("window.same")
    expect(page.locator("html[data-ready]")).to_be_attached()
    page.reload()
    expect(button).to_have_attribute("aria-pressed", "true")
    assert Mark.objects.get().kind == "pick"
