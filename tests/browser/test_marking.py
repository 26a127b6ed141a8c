"""Marking in a real browser: at once, offline, on two devices, after the list was closed, and taken back."""

from __future__ import annotations

import contextlib
import re

import pytest
from django.utils import timezone
from playwright.sync_api import Error, Page, expect

from galleries.models import Frame, Mark, Sitting
from galleries.steps.agreeing import agree
from galleries.steps.picking import pick
from tests.browser.conftest import PHONE, Come
from tests.cast import SESSION, Cast
from tests.web.invitee.sheets import filled

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


# The kinds of the marks on the sheet whose drawing is there to be seen.
DRAWN = """async () => {
    const there = [...document.querySelectorAll(".drawn.subject")].map(async (one) => {
        const drawing = new Image();
        drawing.src = getComputedStyle(one).backgroundImage.slice(5, -2); // url("...")
        await drawing.decode().catch(() => {});
        return drawing.naturalWidth ? one.className.split(" ").at(-1) : "";
    });
    return (await Promise.all(there)).sort();
}"""


# A finger's press as the page hears it; then the first task after the frame that shows it, or the page's end at once.
PRESSED = """async (button, ends) => {
    const { x, y } = button.getBoundingClientRect();
    const finger = { bubbles: true, pointerType: "touch", isPrimary: true, clientX: x + 5, clientY: y + 5 };
    const told = [];
    for (const [of, name] of [[IDBObjectStore, "put"], [IDBTransaction, "commit"]]) {
        const own = of.prototype[name];
        of.prototype[name] = function (...given) { told.push(name); return own.apply(this, given); };
    }
    button.dispatchEvent(new PointerEvent("pointerdown", finger));
    button.dispatchEvent(new PointerEvent("pointerup", finger));
    told.push(button.getAttribute("aria-pressed"));
    if (ends) dispatchEvent(new Event("pagehide"));
    else await new Promise((drawn) => requestAnimationFrame(() => {
        const channel = new MessageChannel();
        channel.port1.onmessage = drawn;
        channel.port2.postMessage(0);
    }));
    return told;
}"""


def button(page: Page, number: int, kind: str):
    return page.get_by_role("button", name=f"{kind.capitalize()} {number:04d}", exact=True)


def ready(page: Page) -> Page:
    expect(page.locator("html")).to_have_attribute("data-ready", "1")
    return page


def kinds(cast: Cast) -> dict[int, str]:
    rows = Mark.objects.filter(invite=cast.subject).values_list("frame__number", "kind")
    return {number: kind for number, kind in rows if kind}


def test_a_mark_shows_at_once_and_is_kept(cast: Cast, come: Come) -> None:
    filled(cast)
    page = ready(come(cast.subject, **PHONE).open(f"/s/{cast.sitting.slug}/sheet"))
    expect(page.locator("#allowance")).to_have_text("Nothing picked yet; 3 finals are included.")
    button(page, 1, "pick").tap()
    expect(button(page, 1, "pick")).to_have_attribute("aria-pressed", "true")
    expect(page.locator("#f" + str(cast.sitting.frames.get(number=1).pk)).locator(".drawn.subject.pick")).to_have_count(
        1
    )
    expect(page.locator("#allowance")).to_have_text("1 of 3 picked, 2 left.")
    expect(page.get_by_role("link", name="frame 0001, look 1, picked by you")).to_be_visible()
    expect(page.locator("#sending")).to_have_text("Everything is sent.")
    assert kinds(cast) == {1: "pick"}
    page.get_by_role("button", name="Your picks").tap()
    slip = page.get_by_role("dialog", name="Your picks")
    expect(slip.get_by_role("img")).to_have_count(1)
    expect(slip).to_contain_text("1 of 3 picked, 2 left.")
    expect(slip).to_contain_text("Nothing picked in: Look of wool")
    slip.get_by_role("button", name="I am through").tap()
    expect(slip.get_by_role("status")).to_contain_text("You are through, and everybody sees it.")
    expect(slip.get_by_role("status")).to_be_in_viewport(ratio=1)  # where it was pressed
    assert cast.sitting.invites.get(role="subject").picks_done_at
    slip.get_by_role("button", name="frame 0001").tap()
    expect(page.get_by_role("dialog", name="One frame, large")).to_be_visible()
    page.get_by_role("button", name="Back").tap()
    button(page, 1, "strike").tap()
    expect(page.locator("#allowance")).to_have_text("Nothing picked yet; 3 finals are included.")
    page.get_by_role("button", name="Undo").tap()
    expect(button(page, 1, "pick")).to_have_attribute("aria-pressed", "true")
    expect(page.locator("#sending")).to_have_text("Everything is sent.")
    assert kinds(cast) == {1: "pick"}


def test_a_mark_outlives_a_page_that_is_killed_or_left_right_after_it(cast: Cast, come: Come) -> None:
    filled(cast)
    device = come(cast.subject, **PHONE)
    device.context.route("**/marks", lambda route: route.abort())
    page = ready(device.open(f"/s/{cast.sitting.slug}/sheet"))
    # Drawn first, written down right after that frame; a page that ends before has written it down as well.
    assert button(page, 1, "pick").evaluate(PRESSED, False) == ["true", "put", "commit"]
    with page.expect_event("crash"), contextlib.suppress(Error):
        page.goto("chrome://crash")
    page.close()
    again = device.page = device.tab()
    ready(device.open(f"/s/{cast.sitting.slug}/sheet"))
    expect(button(again, 1, "pick")).to_have_attribute("aria-pressed", "true")
    expect(again.locator("#sending")).to_contain_text("1 not sent yet")
    assert button(again, 2, "strike").evaluate(PRESSED, True) == ["true", "put", "commit"]


def test_more_than_the_allowance_is_said_and_goes_on(cast: Cast, come: Come) -> None:
    filled(cast)
    page = ready(come(cast.subject).open(f"/s/{cast.sitting.slug}/sheet"))
    for number in (1, 2, 3, 4):
        button(page, number, "pick").click()
    expect(page.locator("#allowance")).to_contain_text("4 picked, 1 more than the 3 included.")
    expect(page.locator("#sending")).to_have_text("Everything is sent.")
    assert set(kinds(cast)) == {1, 2, 3, 4}
    # The same moment a mark is made it does not stand there any more.
    pressed = "one => { one.click(); return document.querySelector('#sending').textContent; }"
    assert "Everything is sent" not in button(page, 4, "strike").evaluate(pressed)
    button(page, 4, "pick").click()
    expect(page.locator(".look-strip").first.locator("[data-picked]")).to_have_text("3 picked in this look")


def test_marks_made_without_a_network_outlive_the_page_and_arrive_once(cast: Cast, come: Come) -> None:
    filled(cast)
    device = come(cast.subject, **PHONE)
    page = ready(device.open(f"/s/{cast.sitting.slug}/sheet"))
    # the page is kept for later once its worker has taken it
    expect(page.locator("html")).to_have_attribute("data-whole", "6", timeout=20_000)
    button(page, 1, "pick").tap()
    expect(page.locator("#sending")).to_have_text("Everything is sent.")
    device.context.set_offline(True)
    button(page, 2, "pick").tap()
    button(page, 3, "strike").tap()
    button(page, 1, "alternate").tap()
    expect(page.locator("#sending")).to_have_text("3 not sent yet; kept on this device until the network is back.")
    assert kinds(cast) == {1: "pick"}
    page.close()
    again = device.page = device.tab()
    ready(device.open(f"/s/{cast.sitting.slug}/sheet"))  # from what the worker kept
    expect(button(again, 2, "pick")).to_have_attribute("aria-pressed", "true")
    expect(button(again, 1, "alternate")).to_have_attribute("aria-pressed", "true")
    expect(again.locator("#sending")).to_contain_text("3 not sent yet")
    assert again.evaluate(DRAWN) == ["alternate", "pick", "strike"]  # the pencil, too, that was never used before
    again.locator(".frame img").last.scroll_into_view_if_needed()
    for picture in again.locator(".frame img").all():  # the whole sheet, also what was never scrolled to
        expect(picture).to_have_js_property("naturalWidth", 80)
    again.locator(f"#f{cast.sitting.frames.get(number=6).pk} a.open").tap()
    expect(again.locator("#said")).to_contain_text("this is the small one")
    expect(again.locator("#large-picture")).to_have_js_property("naturalWidth", 80)
    again.get_by_role("button", name="Back").tap()
    again.get_by_role("button", name="I am through").tap()
    slip = again.get_by_role("dialog", name="Your picks")  # what it is about is seen before it is said
    expect(slip.get_by_role("button", name="frame 0002")).to_be_visible()
    slip.get_by_role("button", name="I am through").tap()
    expect(slip.get_by_role("status")).to_contain_text("The others are told as soon as the network is back.")
    for path, heading in (
        ("plan", "The plan for"),
        ("compare?look=1", "This page needs the network"),
        ("as-casting", "This page needs the network"),
        ("", "Sheet of"),
    ):
        device.open(f"/s/{cast.sitting.slug}/{path}")
        expect(again.locator("h1")).to_contain_text(heading)
    ready(again)
    device.context.set_offline(False)
    expect(again.get_by_role("heading", name="You said that you are through")).to_be_attached(timeout=15_000)
    assert kinds(cast) == {1: "alternate", 2: "pick", 3: "strike"}
    assert list(Mark.objects.filter(frame__number__in=[2, 3]).values_list("revision", flat=True)) == [1, 1]


def test_two_devices_of_one_person_come_to_the_same(cast: Cast, come: Come) -> None:
    filled(cast)
    phone, tablet = come(cast.subject, **PHONE), come(cast.subject)
    here, there = (ready(one.open(f"/s/{cast.sitting.slug}/sheet")) for one in (phone, tablet))
    phone.context.set_offline(True)
    button(here, 1, "pick").tap()
    button(here, 2, "pick").tap()
    expect(here.locator("#sending")).to_contain_text("2 not sent yet")
    there.wait_for_timeout(50)
    button(there, 1, "strike").click()  # later than the phone's
    expect(there.locator("#sending")).to_have_text("Everything is sent.")
    phone.context.set_offline(False)
    expect(button(here, 1, "strike")).to_have_attribute("aria-pressed", "true")
    expect(here.locator("#notices")).to_contain_text("a later mark of yours from another device stands (Strike)")
    expect(button(there, 2, "pick")).to_have_attribute("aria-pressed", "true")
    assert kinds(cast) == {1: "strike", 2: "pick"}


def test_two_notes_written_at_once_are_both_shown_and_the_person_decides(cast: Cast, come: Come) -> None:
    frame = filled(cast)[0]
    phone, tablet = come(cast.subject), come(cast.subject)
    here, there = (ready(one.open(f"/s/{cast.sitting.slug}/sheet")) for one in (phone, tablet))
    for page, text in ((here, "chin down"), (there, "hair behind the ear")):
        page.locator(f"#f{frame.pk} a.open").click()  # an address that opens it waits for the large picture
        page.get_by_role("button", name="Notes").click()
        page.get_by_label("Your note, kept with your mark").fill(text)
    phone.context.set_offline(True)
    here.get_by_role("button", name="Keep the note").click()
    here.keyboard.press("Escape")
    there.get_by_role("button", name="Keep the note").click()
    there.keyboard.press("Escape")
    expect(there.locator("#sending")).to_have_text("Everything is sent.")
    phone.context.set_offline(False)
    notice = here.locator("#notices")
    expect(notice).to_contain_text("hair behind the ear")
    expect(notice).to_contain_text("chin down")
    assert Mark.objects.get().note == "hair behind the ear"
    here.get_by_role("button", name="Put mine in its place").click()
    expect(notice).to_be_hidden()
    expect(here.locator("#sending")).to_have_text("Everything is sent.")
    assert Mark.objects.get().note == "chin down"


def test_a_list_closed_meanwhile_is_said_and_nothing_is_lost(cast: Cast, come: Come) -> None:
    frames = filled(cast)
    device = come(cast.subject, **PHONE)
    page = ready(device.open(f"/s/{cast.sitting.slug}/sheet"))
    button(page, 1, "pick").tap()
    expect(page.locator("#sending")).to_have_text("Everything is sent.")
    device.context.set_offline(True)
    button(page, 2, "pick").tap()
    expect(page.locator("#sending")).to_contain_text("1 not sent yet")
    agree.close(cast.sitting, [frames[0].pk], cast.as_representation)
    device.context.set_offline(False)
    expect(page.locator("#notices")).to_contain_text("The list was closed meanwhile.")
    expect(page.locator("#tray #notices")).to_contain_text("0002 Pick")
    expect(page.locator("#sending")).to_have_text("1 not taken; kept on this device. What to do stands here.")
    expect(page.locator("#allowance")).to_have_text("The list is closed. Picked by you: 1.")
    expect(page.get_by_role("button", name="I am through")).to_be_hidden()
    button(page, 1, "strike").tap(force=True)  # dimmed, and yet it says why nothing happens
    expect(page.locator("#said")).to_have_text("The list is closed, so marks can no longer change.")
    assert kinds(cast) == {1: "pick"}
    page.reload()
    ready(page)
    expect(page.locator("#notices")).to_contain_text("0002 Pick")
    # opened again by the photographer, what was held goes out by itself
    cast.sitting.refresh_from_db()
    agree.reopen(cast.sitting, cast.as_owner, "one more look")
    expect(page.locator("#notices")).to_be_hidden(timeout=15_000)
    page.wait_for_timeout(300)
    assert kinds(cast) == {1: "pick", 2: "pick"}


def test_another_person_on_the_same_device_finds_nothing_of_the_first(cast: Cast, come: Come) -> None:
    filled(cast)
    device = come(cast.subject)
    page = ready(device.open(f"/s/{cast.sitting.slug}/sheet"))
    expect(page.locator("html")).to_have_attribute("data-kept", re.compile(r"\d+"), timeout=20_000)
    device.context.set_offline(True)
    button(page, 2, "pick").click()
    expect(page.locator("#sending")).to_contain_text("1 not sent yet")
    page.close()
    device.context.set_offline(False)
    cookie = cast.client_of(cast.representation).cookies[SESSION].value
    device.context.add_cookies([{"name": SESSION, "value": cookie, "url": device.address}])
    page = device.page = device.tab()
    ready(device.open(f"/s/{cast.sitting.slug}/sheet"))
    expect(page.locator("html")).to_have_attribute("data-kept", re.compile(r"\d+"), timeout=20_000)
    expect(button(page, 2, "pick")).to_have_attribute("aria-pressed", "false")
    left = page.evaluate(
        """async () => {
          const result = (request) => new Promise((done) => { request.onsuccess = () => done(request.result); });
          const base = await result(indexedDB.open("sheet-outbox", 1));
          return (await result(base.transaction("acts").objectStore("acts").getAll())).length;
        }"""
    )
    assert left == 0
    page.wait_for_timeout(300)
    assert not Mark.objects.exists()
    # and without a network it is the second person's sheet that opens
    device.context.set_offline(True)
    page.reload()
    expect(page.get_by_role("link", name="Compare both lists")).to_be_attached()


def test_what_others_do_appears_and_new_frames_wait_for_a_press(cast: Cast, come: Come) -> None:
    frames = filled(cast)
    page = ready(come(cast.subject).open(f"/s/{cast.sitting.slug}/sheet"))
    pick.set_mark(cast.as_representation, frames[1].pk, kind="pick")
    expect(page.get_by_role("link", name="frame 0002, look 1, shortlisted by Ruben Achterberg")).to_be_visible()
    from tests.web.invitee.sheets import proved

    proved(cast, 70, frames[0].look)
    proved(cast, 71, frames[0].look)
    Sitting.objects.update(change=1000)
    fresh = page.get_by_role("button", name="2 new frames. Show them")
    expect(fresh).to_be_visible()
    expect(page.locator(".frame")).to_have_count(6)
    fresh.click()
    ready(page)
    expect(page.locator(".frame")).to_have_count(8)
    frames[0].hidden = True
    frames[0].save()
    Sitting.objects.update(change=1001)
    expect(page.locator(f"#f{frames[0].pk}")).to_be_hidden()
    expect(page.locator("#notices")).to_contain_text("0001 was taken off the sheet")


def test_what_the_subject_strikes_goes_from_the_agents_sheet_without_a_word(cast: Cast, come: Come) -> None:
    frames = filled(cast)
    Sitting.objects.update(strikes_hide=True)
    device = come(cast.representation)
    page = ready(device.open(f"/s/{cast.sitting.slug}/sheet"))
    page.locator(f"#f{frames[0].pk} a.open").click()
    expect(page.locator("#large-no")).to_have_text("0001")
    pick.set_mark(cast.as_subject, frames[0].pk, kind="strike")
    expect(page.locator("#large-no")).to_have_text("0002")  # the next that stays
    page.keyboard.press("Escape")
    expect(page.locator(f"#f{frames[0].pk}")).to_be_hidden()
    page.locator(f"#f{frames[1].pk} a.open").focus()
    pick.set_mark(cast.as_subject, frames[1].pk, kind="strike")
    expect(page.locator(f"#f{frames[1].pk}")).to_be_hidden()
    expect(page.locator(f"#f{frames[2].pk} a.open")).to_be_focused()
    expect(page.locator("#notices")).to_be_hidden()
    expect(page.locator("#said")).to_have_text("")
    # a note that waited for the network on a frame that went: its words stay, and it is said what became of them
    page.locator(f"#f{frames[2].pk} a.open").click()
    page.get_by_role("button", name="Notes").click()
    device.context.set_offline(True)
    page.get_by_label("Your note, kept with your mark").fill("warmer than 4")
    page.get_by_role("button", name="Keep the note").click()
    page.keyboard.press("Escape")
    expect(page.locator("#sending")).to_contain_text("1 not sent yet")
    pick.set_mark(cast.as_subject, frames[2].pk, kind="strike")
    device.context.set_offline(False)
    expect(page.locator("#notices")).to_contain_text("0003 is not on your sheet any more")
    expect(page.locator("#notices blockquote")).to_have_text("warmer than 4")
    page.get_by_role("button", name="I do not need them any more").click()
    expect(page.locator("#notices")).to_be_hidden()
    device.troubles = [one for one in device.troubles if "404" not in one]  # what was asked for as it went


def test_a_press_that_was_meant_for_a_frame_that_just_went_marks_no_other(cast: Cast, come: Come) -> None:
    """The frame goes between the eye and the hand: large, in words that are being written, and on the sheet."""
    frames = filled(cast)
    device = come(cast.subject)
    page = ready(device.open(f"/s/{cast.sitting.slug}/sheet"))
    page.locator(f"#f{frames[0].pk} a.open").click()
    page.clock.install()
    page.reload()
    ready(page)
    page.clock.pause_at(page.evaluate("Date.now()") / 1_000 + 1)  # in seconds

    def hears(at: int) -> None:
        """The page asks what others did; from the moment it knows that a frame went, its clock stands."""
        for _turn in range(100):
            if page.locator(f"#f{frames[at].pk}[hidden]").count():
                return
            page.clock.run_for(100)
            page.wait_for_timeout(20)  # an answer takes its own time
        raise AssertionError("in ten seconds the page did not hear of it")

    def taken_off(at: int) -> None:
        Frame.objects.filter(pk=frames[at].pk).update(hidden=True)
        Sitting.objects.update(change=1000 + at)
        hears(at)

    taken_off(0)
    expect(page.locator("#large-no")).to_have_text("0002")
    page.locator("#large [data-act=pick]").click()
    page.clock.run_for(100)
    expect(page.locator("#said")).to_have_text(
        "0001 is not on your sheet any more, so your mark on it was not taken. 0002 is shown now."
    )
    assert page.locator("#large [data-act=pick]").get_attribute("aria-pressed") == "false"
    page.clock.run_for(1_000)
    page.keyboard.press("n")  # what is being written of 0002 is not said of 0003
    page.get_by_label("Say something to everybody").press_sequentially("past")
    taken_off(1)
    expect(page.locator("#large-picture")).not_to_have_attribute("src", re.compile("."))
    page.clock.run_for(100)
    expect(page.locator("#said")).to_contain_text("0002 is not on your sheet any more. What you are writing stays")
    page.keyboard.type("pas")
    expect(page.locator("#remark")).to_have_value("pastpas")
    expect(page.locator("#large-no")).to_have_text("0002")
    page.locator("#remark").fill("")
    page.locator("#large [data-act=close]").focus()
    page.clock.run_for(100)
    expect(page.locator("#large-no")).to_have_text("0003")
    page.keyboard.press("Escape")
    page.clock.run_for(1_000)
    taken_off(2)
    expect(page.locator(f"#f{frames[2].pk}")).to_be_hidden()
    button(page, 4, "pick").click()
    page.clock.run_for(100)
    expect(page.locator("#said")).to_contain_text("Frames have just moved up")
    assert not Mark.objects.exists()
    page.clock.run_for(1_000)
    button(page, 4, "pick").click()
    expect(button(page, 4, "pick")).to_have_attribute("aria-pressed", "true")
    Frame.objects.update(hidden=True)
    Sitting.objects.update(change=2_000)
    hears(len(frames) - 1)
    expect(page.locator("#empty")).to_have_text(re.compile("No frame is on your sheet now."))
    device.troubles = [one for one in device.troubles if "404" not in one]  # what was asked for as it went


def test_a_revoked_link_is_said_on_the_open_page(cast: Cast, come: Come) -> None:
    filled(cast)
    device = come(cast.subject)
    page = ready(device.open(f"/s/{cast.sitting.slug}/sheet"))
    type(cast.subject).objects.filter(pk=cast.subject.pk).update(revoked_at=timezone.now())
    expect(page.locator("#notices")).to_contain_text("Your link does not open this sitting any more")
    button(page, 1, "pick").click()
    expect(page.locator("#sending")).to_have_text("1 not sent; kept on this device. The reason stands here.")
    expect(page.get_by_role("link", name="Send me my link again")).to_be_visible()
    device.troubles = [one for one in device.troubles if "404" not in one]


def test_a_sitting_put_away_says_why_on_the_open_page(cast: Cast, come: Come) -> None:
    filled(cast)
    device = come(cast.subject)
    page = ready(device.open(f"/s/{cast.sitting.slug}/sheet"))
    Sitting.objects.update(stage="archived")
    expect(page.locator("#notices")).to_contain_text("This sitting is archived; nothing in it can be changed")
    device.troubles = [one for one in device.troubles if "403" not in one]
