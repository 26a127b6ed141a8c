"""A school's day in a browser: a list, slates on a phone, one card of three sitters, strips, one frame moved, shown."""

from __future__ import annotations

import os
import re
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from playwright.sync_api import Page, expect

from galleries.imaging import slates
from galleries.models import Day, Invite, Sitting
from galleries.steps import jobs
from tests.browser.conftest import PHONE, Come
from tests.browser.studio_stage import visiting
from tests.browser.test_studio_pages import check
from tests.cast import Cast
from tests.slates import put_day
from tests.steps.days import school

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def looked(page: Page, name: str) -> None:
    """As the other pages of the studio are checked; a picture for whoever wants to look (LOOK: a folder)."""
    check(page)
    if folder := os.environ.get("LOOK"):
        page.screenshot(path=f"{folder}/{name}.png", full_page=True)


def pixels_of(page: Page) -> Any:
    return cv2.cvtColor(cv2.imdecode(np.frombuffer(page.screenshot(), np.uint8), cv2.IMREAD_COLOR), cv2.COLOR_BGR2RGB)


def test_a_day_from_its_list_to_what_each_sitter_sees(come: Come, live_server: Any, cast: Cast, tmp_path: Path) -> None:
    (tmp_path / "list.csv").write_text(school.LIST, "utf-8")
    with visiting(come, cast) as page:
        page.goto(f"{live_server.url}/studio/")
        page.get_by_role("link", name="Plan a day of many sitters").click()
        page.get_by_label("Name of the day").fill("Kestrel School")
        page.get_by_label("List of sitters (CSV)").set_input_files(tmp_path / "list.csv")
        looked(page, "new")
        page.get_by_role("button", name="Set the day up").click()
        expect(page.get_by_role("row")).to_have_count(4)
        looked(page, "day-empty")
        day = Day.objects.get()
        slate_on_a_phone(come, live_server, cast, day)
        card_comes_in(page, day, tmp_path)
        strips(page, day)
        page.get_by_role("link", name="The day", exact=True).click()
        looked(page, "day-ready")
        page.get_by_role("button", name=re.compile("Show the proofs of 3 sitters")).click()
        expect(page.get_by_role("status")).to_contain_text("The proofs of 3 sitters are out")
    each_sees_only_theirs(come, day)


# The words of the language whose are the longest.
GERMAN = """row => {
  row.querySelector(".button").firstChild.textContent = "Namenstafel";
  ["Aufnahmen", "Markiert", "Liste", "Abgeholt"].forEach((head, nth) => {
    row.querySelectorAll("td")[nth].dataset.head = head;
  });
}"""


def slate_on_a_phone(come: Come, live_server: Any, cast: Cast, day: Day) -> None:
    """The screen itself is photographed: what the browser draws is read as a camera's frame is."""
    with visiting(come, cast, **PHONE) as page:
        page.goto(f"{live_server.url}/studio/{day.holding.slug}/day")
        row = page.locator(".sitters tbody tr").first
        row.evaluate(GERMAN)
        slate = row.locator(".button").bounding_box()
        assert slate is not None
        assert slate["x"] + slate["width"] <= PHONE["viewport"]["width"], "the page's edge cuts the button"
        page.reload()
        looked(page, "day-phone")
        page.get_by_role("link", name="Slates on this screen").click()
        expect(page.get_by_role("heading", name="Ansa Veld")).to_be_visible()
        looked(page, "slate-phone")
        assert page.evaluate("document.documentElement.scrollHeight <= innerHeight + 1"), "all of it is on the screen"
        assert slates.look_for(pixels_of(page)).code == school.codes(day)["A"]
        page.get_by_role("link", name="Jules Marlow").focus()
        page.keyboard.press("Enter")
        expect(page.get_by_role("heading", name="Jules Marlow")).to_be_visible()
        assert slates.look_for(pixels_of(page)).code == school.codes(day)["B"]


def card_comes_in(page: Page, day: Day, folder: Path) -> None:
    page.get_by_role("link", name="Bring the cards in").first.click()
    page.set_input_files("#pick-files", put_day(folder / "card", ".A..B..C.", school.codes(day)))
    expect(page.locator("#said")).to_have_text(re.compile("Through: 9 new"), timeout=60_000)
    jobs.run_waiting(day.holding, ["slate"])


def strips(page: Page, day: Day) -> None:
    page.get_by_role("link", name="To the strips of the day").click()
    expect(page.locator(".day-strip").first).to_contain_text("No slate before these frames")
    chosen = [one.locator("option:checked").inner_text().strip() for one in page.locator(".day-strip select").all()]
    assert chosen == ["nobody yet", "Ansa Veld", "Jules Marlow", "Mirre Solland"]
    looked(page, "strips")
    page.set_viewport_size({"width": 390, "height": 844})
    looked(page, "strips-phone")
    page.set_viewport_size({"width": 1280, "height": 900})
    page.get_by_role("button", name="Put the strips into their sittings").click()
    expect(page.get_by_role("status").first).to_contain_text("8 frames go into their sittings")
    jobs.run_waiting()
    page.get_by_role("checkbox", name=re.compile("0001")).check()
    page.get_by_label("Ticked frames go to").select_option(label="Ansa Veld")
    page.get_by_role("button", name="Move").click()
    expect(page.get_by_role("status").first).to_contain_text("1 frame goes into its sitting")
    jobs.run_waiting()
    page.reload()
    expect(page.get_by_text("Every frame that came in lies in a sitting.")).to_be_visible()
    looked(page, "sorted")
    counts = [one.frames.filter(hidden=False).count() for one in Sitting.objects.filter(sitter__day=day).order_by("pk")]
    assert counts == [3, 2, 1]


def each_sees_only_theirs(come: Come, day: Day) -> None:
    people = Invite.objects.filter(sitting__sitter__day=day, role="subject").select_related("sitting").order_by("pk")
    assert people.count() == 3
    for person, frames in zip(people, (3, 2, 1), strict=True):
        device = come(person)
        page = device.open(f"/s/{person.sitting.slug}/sheet")
        expect(page.get_by_role("link", name=re.compile(r"frame \d{4}"))).to_have_count(frames)
        for other in (*people.exclude(pk=person.pk).values_list("sitting__slug", flat=True), day.holding.slug):
            answer = device.context.request.get(f"{device.address}/s/{other}/sheet")
            assert answer.status == 404, other
        answer = device.context.request.get(f"{device.address}/studio/{day.holding.slug}/day", max_redirects=0)
        assert answer.status == 302, "to the sign-in"
