"""The whole way of an extra final, on a phone: a price, the sum before the button, the statement, paid; the other side
beside it. By keyboard where a person types, axe on each page, three languages of the statement."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import Page, expect

from tests.browser.conftest import PHONE, sideways
from tests.browser.studio_stage import WCAG, many_frames
from tests.cast import LANGUAGE, Cast

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def fits(page: Page, name: str) -> None:
    """No page is wider than its phone, and axe finds nothing."""
    assert not sideways(page), (name, sideways(page))
    found = Axe().run(page, options={"runOnly": WCAG})
    assert found.violations_count == 0, (name, found.generate_report())
    if folder := os.environ.get("TESTS_LOOK"):
        page.screenshot(path=Path(folder) / f"{name}.png", full_page=True)


def test_from_the_price_to_paid(come: Any, live_server: Any, cast: Cast) -> None:
    frames = many_frames(cast, 10, looks=2)
    for frame in frames[:5]:
        for person in (cast.subject, cast.representation):
            person.marks.create(frame=frame, kind="pick", acted_at=timezone.now())

    def at(name: str, *args: object) -> str:
        return live_server.url + reverse(name, args=[cast.sitting.slug, *args])

    studio = come(cast.owner, **PHONE).page
    studio.goto(at("studio-extras"))
    studio.get_by_label("a price of its own").focus()
    studio.keyboard.press("Space")
    studio.get_by_label("One final beyond the allowance costs").focus()
    studio.keyboard.type("40,50")
    studio.get_by_label("Currency").select_option("EUR")
    studio.get_by_label("Tax", exact=True).select_option("top")
    studio.get_by_label("Tax rate (%)").fill("19")
    studio.get_by_label("Who is asked to pay").select_option("representation")
    studio.get_by_label("Deliveries wait until you say").check()
    fits(studio, "studio-price")
    studio.get_by_role("button", name="Keep the price").press("Enter")
    expect(
        studio.get_by_text("Each final beyond the 3 included costs EUR\u00a040.50 (19 % tax comes on top).")
    ).to_be_visible()

    subject = come(cast.subject, **PHONE).page
    subject.goto(at("sheet"))
    expect(subject.locator("#allowance")).to_contain_text("that is EUR\u00a096.39.")
    subject.get_by_role("button", name="Your picks").press("Enter")
    expect(subject.locator("#picks")).to_contain_text("Each final beyond the 3 included costs EUR\u00a040.50")
    fits(subject, "subject-picks")

    device = come(cast.representation, **PHONE)
    agent = device.page
    agent.goto(at("lists"))
    for box in agent.locator("input[name=frame]").all():
        box.set_checked(True)
    expect(agent.locator("#tray-count")).to_contain_text("5 on the list, 3 included Beyond that: EUR\u00a096.39.")
    agent.locator("input[name=frame]").first.press("Space")
    expect(agent.locator("#tray-count")).to_contain_text("EUR\u00a048.20.")  # 48.195: half a cent goes up
    agent.locator("input[name=frame]").first.press("Space")
    agent.get_by_role("button", name="Go on to close the list").press("Enter")
    expect(agent.get_by_text("2 finals beyond the allowance: EUR\u00a096.39.")).to_be_visible()
    fits(agent, "agent-asked")
    studio.get_by_label("One final beyond the allowance costs").fill("41")
    studio.get_by_role("button", name="Keep the price").click()
    expect(studio.get_by_text("costs EUR\u00a041.00")).to_be_visible()
    agent.get_by_role("button", name="Close the list").press("Enter")
    expect(agent.get_by_role("alert")).to_contain_text("changed while this page was open")
    assert any("409" in line for line in device.troubles)  # its console is meant to say so
    device.troubles.clear()
    expect(agent.get_by_text("2 finals beyond the allowance: EUR\u00a097.58.")).to_be_visible()
    fits(agent, "agent-asked-again")
    agent.get_by_role("button", name="Close the list").press("Enter")
    agent.get_by_role("link", name="Extra finals").press("Enter")
    expect(agent.get_by_text("Statement 1,")).to_be_visible()
    for language, amount in (("en", "EUR\u00a097.58"), ("de", "97,58\u00a0EUR"), ("es", "97,58\u00a0EUR")):
        agent.context.add_cookies([{"name": LANGUAGE, "value": language, "url": live_server.url}])
        agent.goto(at("statement"))
        expect(agent.locator(".sums .owed")).to_contain_text(amount)
        fits(agent, f"statement-{language}")

    subject.goto(at("statement"))
    expect(subject.locator("main")).to_contain_text("2 of 5 finals are beyond the allowance.")
    expect(subject.locator("main")).not_to_contain_text("EUR")
    fits(subject, "subject-statement")

    studio.goto(at("studio-extras"))
    fits(studio, "studio-statement")
    studio.get_by_role("button", name="It is paid", exact=True).press("Enter")
    expect(studio.get_by_role("button", name="It is not paid after all")).to_be_visible()
    cast.sitting.refresh_from_db()
    assert cast.sitting.statements.get().paid_at is not None
