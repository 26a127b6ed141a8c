"""What happens while frames stand side by side: list closed, frame taken off, network lost, link taken back."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, expect

from galleries.models import Frame, Mark, Sitting, Standing
from galleries.steps.agreeing import agree
from galleries.steps.people import invite
from galleries.steps.picking import pick
from galleries.steps.sorting import looks
from tests.browser.conftest import DESK, PHONE, Come, Device, sideways
from tests.browser.test_marking import ready
from tests.cast import Cast
from tests.web.invitee.sheets import filled

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
WIDTHS = pytest.mark.parametrize("options", [PHONE, DESK], ids=["390", "1280"])


def beside(cast: Cast, device: Device, frames: list[Frame]) -> Page:
    chosen = ",".join(str(frame.pk) for frame in frames)
    return ready(device.open(f"/s/{cast.sitting.slug}/compare?frames={chosen}"))


def press(page: Page, number: int, kind: str = "pick") -> None:
    page.get_by_role("button", name=f"{kind.capitalize()} {number:04d}", exact=True).click(
        force=True
    )  # what is dimmed says why


@WIDTHS
def test_a_mark_that_cannot_go_is_said_to_wait(cast: Cast, come: Come, options: dict[str, object]) -> None:
    device = come(cast.subject, **options)
    page = beside(cast, device, filled(cast))
    expect(page.locator("html")).to_have_attribute("data-kept", re.compile(r"\d+"))
    device.context.set_offline(True)
    press(page, 1)
    waits = page.get_by_text("1 not sent yet; kept on this device until the network is back.")
    expect(waits).to_be_visible()
    expect(waits).to_be_in_viewport(ratio=1)
    device.context.set_offline(False)
    expect(page.get_by_text("Everything is sent.")).to_be_visible()
    assert Mark.objects.get().kind == "pick"
    assert not sideways(page), sideways(page)


def test_a_list_that_was_closed_takes_no_mark_and_says_so(cast: Cast, come: Come) -> None:
    frames = filled(cast)
    page = beside(cast, come(cast.subject, **PHONE), frames)
    agree.close(cast.sitting, [frames[0].pk], cast.as_representation)
    expect(page.locator("#notices")).to_contain_text("The list was closed meanwhile.")
    expect(page.locator("#notices")).to_be_in_viewport()
    press(page, 1)
    expect(page.locator("#said")).to_have_text("The list is closed, so marks can no longer change.")
    expect(page.get_by_role("button", name="Pick 0001")).to_have_attribute("aria-pressed", "false")
    page.get_by_role("button", name="Enough: take the order so far").click()
    expect(page.get_by_role("button", name="Pick the first")).to_be_hidden()
    expect(page.get_by_role("button", name="Keep this order")).to_be_hidden()
    expect(page.locator("#finished-words")).to_have_text(
        "Your order, best first. The list is closed, so marks can no longer change."
    )
    assert not Mark.objects.exclude(kind="").exists()


def test_heaps_are_made_no_marks_of_once_the_list_is_closed(cast: Cast, come: Come) -> None:
    frames = filled(cast, 1, 13)
    device = come(cast.subject, **PHONE)
    page = beside(cast, device, frames)
    page.get_by_role("button", name="Sort into three heaps").tap()
    for _frame in frames:
        page.keyboard.press("y")
    device.context.route("**/changes**", lambda route: route.abort())  # the press comes before the page has heard of it
    page.wait_for_timeout(50)
    agree.close(cast.sitting, [frames[0].pk], cast.as_representation)
    page.get_by_role("button", name="Make marks of the heaps").tap()
    expect(page.locator("#notices")).to_contain_text("Not taken, because the list is closed: 0001 Pick")
    expect(page.locator("#heaps-told")).not_to_contain_text("The marks are set")
    device.context.unroute("**/changes**")
    expect(page.locator("#notices")).to_contain_text("The list was closed meanwhile.")
    expect(page.locator("#heaps-told")).to_have_text("The list is closed, so marks can no longer change.")
    expect(page.get_by_role("button", name="Make marks of the heaps")).to_be_hidden()
    assert not Mark.objects.exclude(kind="").exists()


@WIDTHS
def test_a_frame_that_the_studio_takes_off_leaves_the_question(
    cast: Cast, come: Come, options: dict[str, object]
) -> None:
    frames = filled(cast, 1, 4)
    page = beside(cast, come(cast.subject, **options), frames)
    expect(page.locator(".pane .no")).to_have_text(["0001", "0002"])
    page.get_by_role("button", name="Keep 0002").click()
    expect(page.locator(".pane .no")).to_have_text(["0003", "0004"])
    looks.set_hidden(cast.sitting, [frames[2].pk], True, cast.as_owner)
    expect(page.locator(".pane .no")).to_have_text(["0004", "0002"])
    expect(page.locator("#notices")).to_contain_text("0003 was taken off the sheet by the studio.")
    expect(page.locator(":focus")).to_have_accessible_name("Keep 0004")
    page.get_by_role("button", name="Undo").click()  # it comes back by no undo
    expect(page.locator(".pane .no")).to_have_text(["0001", "0002"])
    page.get_by_role("button", name="Keep 0001").click()
    page.get_by_role("button", name="Keep 0001").click()
    page.get_by_role("button", name="Keep 0002").click()
    expect(page.locator("#order .typed")).to_have_text(["0001", "0002", "0004"])
    # Their pictures are here: one that is asked for after its frame was taken off is refused, and a console tells that.
    page.wait_for_function("() => [...document.querySelectorAll('#order img')].every((one) => one.naturalWidth)")
    looks.set_hidden(cast.sitting, [frames[1].pk], True, cast.as_owner)
    expect(page.locator("#order .typed")).to_have_text(["0001", "0004"])
    page.get_by_role("button", name="Keep this order").click()
    expect(page.locator("#finished-words")).to_have_text("Your order is kept.")
    assert list(Standing.objects.order_by("place").values_list("frame__number", flat=True)) == [1, 4]


def test_what_the_subject_strikes_leaves_the_agents_question_without_a_word(cast: Cast, come: Come) -> None:
    frames = filled(cast, 1, 4)
    Sitting.objects.update(strikes_hide=True)
    page = beside(cast, come(cast.representation), frames)
    pick.set_mark(cast.as_subject, frames[0].pk, kind="strike")
    expect(page.locator(".pane .no")).to_have_text(["0002", "0003"])
    expect(page.locator("#notices")).to_be_hidden()


def test_a_link_taken_back_is_said_with_the_way_to_a_new_one(cast: Cast, come: Come) -> None:
    device = come(cast.subject, **PHONE)
    page = beside(cast, device, filled(cast))
    invite.revoke(cast.subject, cast.as_owner)
    press(page, 1)
    expect(page.locator("#notices")).to_contain_text("Your link does not open this sitting any more.")
    expect(page.get_by_role("link", name="Send me my link again")).to_be_in_viewport()
    expect(page.get_by_text("1 not sent; kept on this device. The reason stands here.")).to_be_visible()
    device.troubles = [one for one in device.troubles if "status of 40" not in one]
