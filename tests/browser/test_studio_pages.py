"""Every page of the studio at both widths: axe finds nothing, nothing sticks out, all is reached by keyboard."""

from __future__ import annotations

from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import Page, expect

from galleries.models import Crop, DeliverySize, Frame, Look, Mark, Sitting
from galleries.steps import jobs
from galleries.steps.delivering import cut, licences, orders, sizes
from galleries.steps.finishing import approvals, notes
from galleries.steps.planning import sitting_plan
from tests.browser.conftest import PHONE, sideways
from tests.browser.studio_stage import WCAG, many_frames, visiting
from tests.cast import Cast
from tests.painted import finals_of

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
WIDTHS: dict[str, dict[str, Any]] = {"desktop": {}, "phone": PHONE}
PICKING = ("studio-sitting", "studio-upload", "studio-set", "studio-desk", "studio-people", "studio-lists")
FINISHING = ("studio-lists", "studio-finals", "studio-delivery", "studio-licence", "studio-usage", "studio-people")
QUIET = ("studio-setup", "studio-journal", "studio-settings", "studio-work", "studio-letters")


def check(page: Page) -> None:
    found = Axe().run(page, options={"runOnly": {"type": "tag", "values": WCAG}})
    assert found.violations_count == 0, found.generate_report()
    assert not sideways(page), (page.url, sideways(page))


def visit(page: Page, live_server: Any, name: str, *args: object) -> None:
    answer = page.goto(live_server.url + reverse(name, args=args))
    assert answer is not None
    assert answer.ok, name
    if name == "studio-desk":
        expect(page.locator(".frame").first).to_be_visible()
    check(page)


@pytest.mark.parametrize("width", list(WIDTHS))
def test_pages_of_a_sitting_in_its_picking(come: Any, live_server: Any, cast: Cast, width: str) -> None:
    frames = many_frames(cast, 24, looks=2)
    Look.objects.filter(title="Look 2").update(proposed_reason="a pause of 12 minutes", gel="half CTO", gel_mired=109)
    Frame.objects.filter(pk=frames[2].pk).update(hidden=True)
    for invite, kind in ((cast.subject, "pick"), (cast.representation, "strike")):
        Mark.objects.create(invite=invite, frame=frames[0], kind=kind, note="like this", acted_at=timezone.now())
    sitting_plan.comment(cast.as_owner, cast.sitting, "Bring two collars")
    cast.sitting.refusals.create(name="X.JPG", reason="It is no picture.")
    with visiting(come, cast, **WIDTHS[width]) as page:
        visit(page, live_server, "studio")
        visit(page, live_server, "new-sitting")
        for name in (*PICKING, *QUIET):
            visit(page, live_server, name, cast.sitting.slug)
        visit(page, live_server, "studio-look", cast.sitting.slug, frames[0].look_id)


@pytest.mark.parametrize("width", list(WIDTHS))
def test_pages_of_a_sitting_in_its_finishing(come: Any, live_server: Any, cast: Cast, width: str) -> None:
    sizes.load()
    finals = finals_of(cast)
    notes.pin_note(finals[0], cast.as_subject, 0.4, 0.3, text="the collar")
    licence = licences.compose(cast.sitting, licences.draft(cast.sitting), cast.as_owner)
    for final in finals:
        approvals.deliver_as_it_is(final, cast.as_owner)
    wanted = [size for size in sizes.offered() if size.slug == "casting-square"]
    orders.prepare(cast.sitting, wanted, licence, cast.as_owner)
    jobs.run_waiting(cast.sitting, kinds=["delivery"])
    with visiting(come, cast, **WIDTHS[width]) as page:
        for name in FINISHING:
            visit(page, live_server, name, cast.sitting.slug)
        visit(page, live_server, "studio-crops", cast.sitting.slug, finals[0].pk)
        visit(page, live_server, "studio-sizes")
        visit(page, live_server, "studio-size-new")


def test_the_large_view_side_by_side_and_keys_have_no_violation(come: Any, live_server: Any, cast: Cast) -> None:
    many_frames(cast, 12, looks=1)
    with visiting(come, cast) as page:
        page.goto(live_server.url + reverse("studio-desk", args=[cast.sitting.slug]))
        page.locator(".frame").nth(0).click()
        page.locator(".frame").nth(1).click()
        page.get_by_role("button", name="Beside each other").click()
        check(page)
        page.get_by_role("button", name="Close").click()
        page.get_by_role("button", name="Look at").click()
        check(page)
        page.keyboard.press("Escape")
        page.get_by_role("button", name="Keys").click()
        check(page)


def test_a_crop_is_set_by_keyboard_by_taps_and_by_drag(come: Any, live_server: Any, cast: Cast) -> None:
    sizes.load()
    finals = finals_of(cast)
    with visiting(come, cast) as page:
        page.goto(live_server.url + reverse("studio-crops", args=[cast.sitting.slug, finals[0].pk]))
        expect(page.locator("#n-y")).not_to_have_value("")  # the script has come
        page.get_by_role("button", name="Casting upload, portrait 4:5").first.click()
        (crop,) = cut.shown(finals[0], [DeliverySize.objects.get(slug="casting-4x5")])
        assert crop.pk is None
        page.get_by_role("button", name="Tighter").click()
        page.locator("#box").focus()
        for _time in range(3):
            page.keyboard.press("ArrowDown")
        expect(page.locator("#keep")).to_be_enabled()
        page.keyboard.press("Enter")
        expect(page.locator("#said")).to_have_text("The crop is kept.")
        before = (crop.x, crop.y, crop.width, crop.height)
        crop = Crop.objects.get(final=finals[0])
        assert crop.size.slug == "casting-4x5"
        assert crop.by_hand
        assert crop.width < before[2]
        assert crop.y > before[1]
        assert abs(crop.width / crop.height - 0.8) < 0.002
        kept = crop.y
        box = page.locator("#box").bounding_box()
        assert box is not None
        page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
        page.mouse.down()
        page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2 - 10, steps=4)
        page.mouse.up()
        page.locator("#n-tilt").fill("2")
        page.locator("#n-tilt").blur()
        page.get_by_role("button", name="Same for sizes of this shape").click()
        expect(page.locator("#said")).to_contain_text("Taken over by")
        crop.refresh_from_db()
        assert crop.y < kept
        assert crop.tilt == 2.0
        other = Crop.objects.get(final=finals[0], size__slug="print-8x10")
        assert (other.x, other.y, other.width, other.tilt) == (crop.x, crop.y, crop.width, 2.0)
        page.get_by_role("button", name="Back to the proposal").click()
        expect(page.locator("#n-tilt")).to_have_value("0")


def test_the_newest_frame_shows_itself_on_set(come: Any, live_server: Any, cast: Cast) -> None:
    from tests.painted import add_file, camera_files

    with visiting(come, cast) as page:
        page.goto(live_server.url + reverse("studio-set", args=[cast.sitting.slug]))
        page.get_by_label("Name of the new look").fill("Rain coat")
        page.get_by_role("button", name="New look starts here").click()
        expect(page.locator("#look-now")).to_have_text("Rain coat")
        sitting = Sitting.objects.get(pk=cast.sitting.pk)
        name, data = camera_files()[0]
        outcome = add_file(sitting, name, data, cast.as_owner)
        jobs.run_waiting(sitting, kinds=["proof"])
        assert outcome.frame is not None
        # Without a reload: it asks twice a second.
        expect(page.locator("#newest-picture")).to_have_attribute("data-frame", str(outcome.frame.pk))
        expect(page.locator("#newest-label")).to_have_text(f"frame {outcome.frame.label}, Rain coat")
        # Both eyes of a close face, each in a half: beside the picture they take all the width that is there.
        expect(page.locator("#eyes-picture")).to_have_css("visibility", "visible")
        page.evaluate("document.querySelector('#eyes').classList.add('apart')")
        page.evaluate("document.querySelector('#eyes .eye:last-child').hidden = false")
        widths = """[...document.querySelectorAll('#eyes .eye')].map((half) => half.clientWidth)"""
        room = page.evaluate("document.querySelector('#eyes').clientWidth")
        assert sum(page.evaluate(widths)) == pytest.approx(room, abs=8)
