"""The desk with 1,000 frames in a real browser: keys, ranges, dragging and its other way, filters, large view."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import APIResponse, Page, Route, expect

from galleries.models import Frame, Look
from galleries.steps import derived
from galleries.steps.agreeing import agree
from galleries.steps.ingesting import proof
from galleries.steps.picking import pick
from galleries.steps.sorting import loupe
from tests.browser.studio_stage import jpeg, many_frames, visiting
from tests.cast import Cast

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
COUNT = 1000
# Where the first picture lies, and how many rows of frames are whole above the tools.
IN_SIGHT = """() => {
    const boxes = [...document.querySelectorAll(".frame")].map((one) => one.getBoundingClientRect());
    const foot = document.getElementById("tools").getBoundingClientRect().top;
    return {
        bars: ["tools", "filters"].map((one) => document.getElementById(one).offsetHeight),
        first: document.querySelector(".frame img").getBoundingClientRect().top,
        rows: new Set(boxes.filter((box) => box.bottom <= foot).map((box) => Math.round(box.top))).size,
    };
}"""


def open_desk(page: Page, live_server: Any, cast: Cast) -> None:
    page.goto(live_server.url + reverse("studio-desk", args=[cast.sitting.slug]))
    expect(page.locator("#tally")).to_contain_text("frames,")


def frame(page: Page, number: int) -> Any:
    return page.get_by_role("button", name=re.compile(f"^frame {number:04d}"))


def test_a_thousand_frames_by_keyboard_alone(come: Any, live_server: Any, cast: Cast) -> None:
    many_frames(cast, COUNT)
    with visiting(come, cast) as page:
        pictures: list[str] = []
        page.on("request", lambda one: pictures.append(one.url) if "/files/view/" in one.url else None)
        open_desk(page, live_server, cast)
        expect(page.locator("#tally")).to_have_text(re.compile("^1000 frames"))
        page.wait_for_timeout(500)
        assert len(pictures) < 250  # what is not looked at is not sent
        expect(frame(page, 1)).to_be_focused()  # keys work at once
        page.keyboard.press("Space")
        for _step in range(4):
            page.keyboard.press("Shift+ArrowRight")
        expect(page.locator("#chosen")).to_have_text("7")  # five cells, one of them a closed stack of three
        page.keyboard.press("h")
        expect(page.locator("#tally")).to_contain_text("hidden")
        expect(page.locator(".cell.is-hidden").first).to_be_visible()
        assert Frame.objects.filter(hidden=True).count() == 7
        expect(frame(page, 8)).to_be_focused()  # the next one, not the top; and what is hidden is chosen no more
        expect(page.locator("#chosen")).to_have_text("0")
        page.keyboard.press("t")
        expect(page.locator(".cell.is-hidden")).to_have_count(0)
        assert not Frame.objects.filter(hidden=True).exists()
        page.keyboard.press("ArrowDown")
        page.keyboard.press("n")
        expect(page.locator(".look")).to_have_count(6)
        page.keyboard.press("End")
        expect(frame(page, COUNT)).to_be_focused()
        page.keyboard.press("Escape")
        expect(page.locator(".frame[aria-pressed=true]")).to_have_count(0)


def test_ranges_and_moving_without_dragging(come: Any, live_server: Any, cast: Cast) -> None:
    many_frames(cast, 60, looks=3)
    with visiting(come, cast) as page:
        open_desk(page, live_server, cast)
        page.get_by_label("stack near-identical frames").uncheck()
        frame(page, 3).click()
        frame(page, 9).click(modifiers=["Shift"])
        expect(page.locator("#chosen")).to_have_text("7")
        page.get_by_label("Move to").select_option(label="Look 3")
        page.get_by_role("button", name="Move", exact=True).click()
        expect(page.locator("#chosen")).to_have_text("0")
        third = Look.objects.get(title="Look 3")
        assert set(range(3, 10)) <= set(third.frames.values_list("number", flat=True))
        page.get_by_role("button", name="Undo").click()
        expect(page.locator("#undo")).to_be_disabled()
        assert not third.frames.filter(number__lt=10).exists()


def test_two_windows_and_the_lists_follow_each_other(come: Any, live_server: Any, cast: Cast) -> None:
    frames = many_frames(cast, 12, looks=2)
    with visiting(come, cast) as page:
        other, lists = page.context.new_page(), page.context.new_page()
        open_desk(page, live_server, cast)
        open_desk(other, live_server, cast)
        lists.goto(live_server.url + reverse("studio-lists", args=[cast.sitting.slug]))
        expect(lists.locator("html[data-ready]")).to_be_attached()
        expect(lists.get_by_role("link", name=re.compile("0002"))).to_have_count(0)
        frame(page, 1).focus()
        page.keyboard.press("h")
        expect(frame(other, 1)).to_have_accessible_name(re.compile("hidden"))
        pick.set_mark(cast.as_subject, frames[1].pk, kind="pick")  # and what the others do meanwhile, in all three
        pick.set_mark(cast.as_representation, frames[1].pk, kind="pick")
        for desk in (page, other):
            expect(frame(desk, 2)).to_have_accessible_name(re.compile("by the subject, picked by the representation"))
        other.get_by_label("Size of the frames").fill("120")  # both stand beneath a small frame, too
        expect(other.locator("#looks")).to_have_attribute("style", re.compile("120px"))
        edge, marks = (frame(other, 2).locator(part).bounding_box() for part in (".edge", ".marks"))
        assert edge is not None
        assert marks is not None
        assert marks["y"] + marks["height"] <= edge["y"] + edge["height"] + 1
        expect(lists.get_by_role("link", name=re.compile("0002"))).to_be_visible()
        other.keyboard.press("t")  # what one window did, the other takes back
        expect(frame(page, 1)).not_to_have_accessible_name(re.compile("hidden"))
        # An act between a stranger's mark and the next question for news loses nothing of the mark.
        page.route(re.compile(r"/desk/data\?since=\d"), lambda route: route.fulfill(status=204))
        pick.set_mark(cast.as_subject, frames[2].pk, kind="pick")
        page.keyboard.press("ArrowRight")
        page.keyboard.press("s")
        expect(frame(page, 3)).to_have_accessible_name(re.compile("picked by the subject"))
        # What changed since the photographer last looked is there to be seen alone, until it was seen.
        page.get_by_label("marks changed 2").check()
        expect(page.locator(".frame")).to_have_count(2)
        page.get_by_role("button", name="Seen").click()
        expect(page.locator(".frame")).not_to_have_count(2)
        expect(page.get_by_role("button", name="Seen")).to_be_hidden()


def held(page: Page) -> None:
    """The keyboard is on something that can be seen."""
    page.wait_for_function("() => document.activeElement !== document.body && document.activeElement.checkVisibility()")


def on_to(page: Page, role: Any, name: str) -> None:
    """By the tabulator to a control, and press it."""
    control = page.get_by_role(role, name=name).first
    for _step in range(40):
        if control.evaluate("one => one === document.activeElement"):
            break
        page.keyboard.press("Tab")
    expect(control).to_be_focused()
    page.keyboard.press("Enter")


def test_from_the_desk_to_a_sent_retouch_by_keyboard_alone(come: Any, live_server: Any, cast: Cast) -> None:
    frames = many_frames(cast, 12, looks=2)
    with visiting(come, cast) as page:
        open_desk(page, live_server, cast)
        expect(frame(page, 1)).to_be_focused()
        page.keyboard.press("h")
        expect(frame(page, 2)).to_be_focused()
        page.keyboard.press("m")
        expect(page.get_by_label("Move to")).to_be_focused()
        page.get_by_label("Move to").press("End")
        expect(page.get_by_label("Move to")).to_have_value(str(Look.objects.get(title="Look 2").pk))
        on_to(page, "button", "Move")
        expect(page.locator(".look").nth(1).locator(".count")).to_have_text("7")
        held(page)
        page.keyboard.press("t")
        expect(page.locator(".look").nth(1).locator(".count")).to_have_text("6")
        held(page)
        page.keyboard.press("Escape")
        frame(page, 2).focus()
        page.keyboard.press("ArrowRight")
        expect(frame(page, 3)).to_be_focused()
        page.keyboard.press("Enter")
        expect(page.locator("#large")).to_be_visible()
        page.keyboard.press("h")
        held(page)
        page.keyboard.press("Escape")
        expect(page.locator("#large")).to_be_hidden()
        expect(page.locator(".frame:focus")).to_have_count(1)
        agree.close(cast.sitting, [frames[1].pk], cast.as_owner)
        final = cast.sitting.finals.get()
        proof_key = frames[1].proofs.get().small_key
        retouched = final.versions.create(
            number=1, sha256="a" * 64, key=frames[0].key, name="KAL_0002_v1.jpg", bytes=1, width=320, height=480,
            proof_key=proof_key,
        )  # fmt: skip
        on_to(page, "link", "Finals")
        expect(page.get_by_role("heading", name="Finals")).to_be_visible()
        on_to(page, "link", "Look, then send")
        expect(page.get_by_role("checkbox", name="Send version 1 of 0002")).to_be_checked()
        on_to(page, "button", "Send with one letter")
        expect(page.locator(".messages")).to_be_visible()
        retouched.refresh_from_db()
        assert retouched.sent_at is not None


def test_news_that_an_act_overtook_does_not_take_it_back(come: Any, live_server: Any, cast: Cast) -> None:
    frames = many_frames(cast, 12, looks=1)
    held: list[tuple[Route, APIResponse]] = []
    with visiting(come, cast) as page:
        open_desk(page, live_server, cast)

        def hold(route: Route) -> None:
            answer = route.fetch()
            if answer.status == 200 and not held:
                held.append((route, answer))
            else:
                route.fulfill(response=answer)

        page.route("**/desk/data**", hold)
        pick.set_mark(cast.as_subject, frames[8].pk, kind="pick")
        while not held:
            page.wait_for_timeout(50)
        frame(page, 1).press("h")
        expect(page.locator("#tally")).to_contain_text("1 hidden")
        ((route, answer),) = held
        route.fulfill(response=answer)  # on a slow line the news comes after the answer to the act
        expect(frame(page, 9).locator(".mark.s")).to_have_text("S ○")
        assert "1 hidden" in page.locator("#tally").inner_text()
        page.unroute_all(behavior="ignoreErrors")


def test_dragging_chosen_frames_to_another_look(come: Any, live_server: Any, cast: Cast) -> None:
    many_frames(cast, 20, looks=2)
    with visiting(come, cast) as page:
        open_desk(page, live_server, cast)
        frame(page, 1).click()
        frame(page, 2).click()
        look = page.locator(".look").nth(1)
        frame(page, 2).hover()
        page.mouse.down()
        look.locator("h2").hover()
        look.locator("h2").hover()  # a second move: with one alone nothing may be dragged over it yet
        expect(look).to_have_class(re.compile(r"\bover\b"))
        page.mouse.up()
        expect(page.locator("#chosen")).to_have_text("0")
        assert set(Look.objects.get(title="Look 2").frames.filter(number__lt=3).values_list("number", flat=True)) == {
            1,
            2,
        }


def test_filters_and_stacks(come: Any, live_server: Any, cast: Cast) -> None:
    many_frames(cast, 60, looks=2)
    with visiting(come, cast) as page:
        page.set_viewport_size({"width": 1280, "height": 800})
        open_desk(page, live_server, cast)
        picture = page.locator(".frame img").first
        expect(picture).to_have_js_property("naturalWidth", 320)
        expect(picture).to_have_attribute("src", re.compile("/files/view/"))  # never the stamped proof
        seen = page.evaluate(IN_SIGHT)
        assert seen["first"] < 130
        assert seen["rows"] >= 4
        assert max(seen["bars"]) < 40  # one line each
        page.locator(".further summary").click()
        page.get_by_role("button", name="Choose none").press("Escape")
        expect(page.get_by_role("button", name="Choose none")).to_be_hidden()
        expect(page.locator(".frame")).to_have_count(50)  # five runs of three show one each
        stack = page.get_by_role("button", name="3 alike").first
        stack.click()
        expect(page.locator(".frame")).to_have_count(52)
        expect(page.get_by_role("button", name="open: 3 alike").first).to_have_attribute("aria-expanded", "true")
        page.get_by_label("eyes closed 6").check()
        expect(page.locator(".frame")).to_have_count(6)
        expect(page.locator(".frame").first).to_contain_text("check the eyes")
        page.get_by_role("button", name="only Look 2").click()  # conditions hold together
        expect(page.locator(".frame")).to_have_count(3)
        expect(page.locator(".look")).to_have_count(1)
        frame(page, 40).click()
        page.keyboard.press("h")
        expect(page.locator("#said")).to_have_text("Hidden: 1.")
        page.get_by_label("not hidden 2").check()
        expect(page.locator(".frame")).to_have_count(2)
        page.get_by_label("hidden 0", exact=True).check()  # it is one or the other
        expect(frame(page, 40)).to_be_visible()
        expect(page.locator(".frame")).to_have_count(1)
        page.get_by_role("button", name="all 60").click()
        expect(page.locator(".frame")).to_have_count(52)
        page.keyboard.press("f")  # all that is flagged, in both looks: asked with the number and the pictures
        page.locator("#flagged").get_by_label("eyes closed 5").check()
        expect(page.locator("#flagged img")).to_have_count(5)
        page.get_by_role("button", name="Hide 5 frames").click()
        expect(page.locator("#said")).to_have_text("Hidden: 5.")
        expect(page.get_by_label("hidden 6", exact=True)).to_be_visible()
        page.keyboard.press("t")
        expect(page.get_by_label("hidden 1", exact=True)).to_be_visible()


@pytest.mark.parametrize("language", ["en-GB", "de-DE", "es-ES"])
def test_what_stands_on_a_stack_is_one_line(come: Any, live_server: Any, cast: Cast, language: str) -> None:
    """It lies over a face: number and words, or number and both sides' marks on what is covered."""
    frames = many_frames(cast, 60, looks=3)
    pick.set_mark(cast.as_subject, frames[4].pk, kind="strike")
    pick.set_mark(cast.as_representation, frames[5].pk, kind="pick")
    with visiting(come, cast, locale=language, viewport={"width": 1280, "height": 800}) as page:
        page.goto(live_server.url + reverse("studio-desk", args=[cast.sitting.slug]))
        both = page.locator(".run:has(.mark.s):has(.mark.r)")
        expect(both).to_have_count(1)
        expect(both).to_have_text(re.compile(r"^3\s*S ╱\s*R ○$"))
        assert re.match(r"3 \w+, .+, .+", both.get_attribute("aria-label") or ""), "its name has all of it"
        lines = page.locator(".run:visible").evaluate_all(
            """(all) => all.map((one) => {
              const inside = document.createRange();
              inside.selectNodeContents(one);
              const middles = [...inside.getClientRects()].map(({ top, bottom }) => (top + bottom) / 2);
              return Math.max(...middles) - Math.min(...middles) < 6 ? "" : one.innerText;
            })"""
        )
        assert len(lines) > 3
        assert not any(lines), lines


def test_a_closed_stack_is_handled_whole_and_the_desk_is_found_as_it_was_left(
    come: Any, live_server: Any, cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    # What the large view's test has cut from the original and decoded, the stage has ready here.
    monkeypatch.setattr(loupe, "eyes", lambda _frame: jpeg(60))
    shown = derived.view_place(cast.sitting, "b" * 64)
    shown.kept(lambda: jpeg(90))
    monkeypatch.setattr(proof, "view", lambda _frame, _side: shown)
    frames = many_frames(cast, 24, looks=2)
    pick.set_mark(cast.as_subject, frames[4].pk, kind="pick")  # the second of the stack 4, 5, 6: covered by the first
    with visiting(come, cast) as page:
        open_desk(page, live_server, cast)
        stack = page.get_by_role("button", name="3 alike, picked by the subject")
        expect(stack.locator(".mark.s")).to_have_text("S ○")
        for _step in range(3):
            page.keyboard.press("ArrowRight")
        expect(frame(page, 4)).to_be_focused()
        page.keyboard.press("c")  # the eyes of the run: the best is suggested, the rest goes, and it is all taken back
        expect(page.locator(".closeup")).to_have_count(3)
        page.keyboard.press("ArrowRight")
        page.keyboard.press("s")
        expect(page.locator(".closeup").nth(1)).to_contain_text("0005, suggested")
        page.keyboard.press("r")
        expect(page.locator(".closeup").nth(2)).to_contain_text("0006, hidden")
        assert set(Frame.objects.filter(hidden=True).values_list("number", flat=True)) == {4, 6}
        page.keyboard.press("t")
        expect(page.locator(".closeup").nth(2)).to_have_text("0006")
        page.keyboard.press("t")
        expect(page.locator(".closeup").nth(1)).to_have_text("0005")
        page.keyboard.press("Escape")
        expect(frame(page, 4)).to_be_focused()
        page.keyboard.press("Space")
        expect(page.locator("#chosen")).to_have_text("3")
        page.keyboard.press("b")
        expect(page.locator(".pane")).to_have_count(3)
        page.keyboard.press("Escape")
        expect(page.locator("#side")).to_be_hidden()
        page.locator("#tally").click()  # away from the frames: the keys are still for the one that was in focus
        page.keyboard.press("h")
        expect(page.locator("#said")).to_have_text("Hidden: 3.")
        expect(frame(page, 7)).to_be_focused()
        assert set(Frame.objects.filter(hidden=True).values_list("number", flat=True)) == {4, 5, 6}
        page.get_by_label("stack near-identical frames").uncheck()
        page.get_by_label("unmarked").check()
        page.get_by_label("Size of the frames").fill("200")
        expect(page.locator(".frame")).to_have_count(21)
        page.reload()
        expect(page.locator(".frame")).to_have_count(21)
        expect(page.get_by_label("stack near-identical frames")).not_to_be_checked()
        expect(page.get_by_label("Size of the frames")).to_have_value("200")
        page.keyboard.press("h")  # the frame itself goes from what is shown: the next one has the keyboard
        expect(frame(page, 2)).to_be_focused()


def test_a_proposed_look_is_accepted_moved_and_removed(
    come: Any,
    live_server: Any,
    cast: Cast,
) -> None:
    many_frames(cast, 20, looks=2)
    Look.objects.filter(title="Look 2").update(proposed_reason="the wardrobe turned from grey to blue")
    with visiting(come, cast) as page:
        open_desk(page, live_server, cast)
        second = page.locator(".look").nth(1)
        expect(second).to_contain_text("Proposed: the wardrobe turned from grey to blue.")
        page.set_viewport_size({"width": 390, "height": 844})  # no pointer there reads what is cut
        words = second.locator(".why")
        expect(words).to_have_js_property("scrollWidth", words.evaluate("one => one.clientWidth"))
        page.set_viewport_size({"width": 1280, "height": 800})
        second.get_by_role("button", name="One frame earlier").click()
        expect(second.locator(".count")).to_have_text("11")
        expect(second.locator(".proposed")).to_be_hidden()
        Look.objects.filter(title="Look 2").update(proposed_reason="a pause")
        page.reload()
        page.locator(".look").nth(1).get_by_role("button", name="No new look here").click()
        expect(page.locator(".look")).to_have_count(1)
        page.get_by_role("button", name="Undo").click()
        expect(page.locator(".look")).to_have_count(2)


def test_large_view_and_side_by_side_with_locked_zoom(
    come: Any,
    live_server: Any,
    cast: Cast,
) -> None:
    from tests.painted import frames_of

    frames = frames_of(cast, 2, proofs=True)
    Look.objects.exclude(pk=frames[0].look_id).delete()
    with visiting(come, cast) as page:
        open_desk(page, live_server, cast)
        page.get_by_label("stack near-identical frames").uncheck()
        asked: list[str] = []
        page.on("request", lambda one: asked.append(one.url))
        page.locator(".frame").first.focus()
        page.keyboard.press("Enter")
        expect(page.locator("#large")).to_be_visible()
        expect(page.locator("#large-picture")).to_have_js_property("complete", True)
        page.keyboard.press("e")
        expect(page.get_by_role("button", name="Eyes at 100 %")).to_have_attribute("aria-pressed", "true")
        expect(page.locator("#large-picture")).to_have_attribute("src", re.compile("/desk/eyes/"))
        expect(page.locator("#large-picture")).to_have_attribute("width", re.compile(r"^[1-9]\d\d"))
        page.keyboard.press("e")
        first = page.locator("#large-picture").get_attribute("alt") or ""
        page.keyboard.press("h")  # the next comes
        expect(page.locator("#large-picture")).not_to_have_attribute("alt", first)
        page.keyboard.press("t")  # and the one hidden is here again
        expect(page.locator("#large-picture")).to_have_attribute("alt", first)
        page.keyboard.press("Escape")
        assert not [url for url in asked if "/files/original/" in url]  # never the original unless asked for
        for index in (0, 1):
            page.locator(".frame").nth(index).click()
        page.get_by_role("button", name="Beside each other").click()
        panes = page.locator(".pane img")
        expect(panes).to_have_count(2)
        for pane in range(2):  # a picture lies in its pane once it has come; the first view of a frame is made then
            expect(panes.nth(pane)).to_have_attribute("style", re.compile("scale"))
        page.get_by_role("button", name="To the eyes").click()
        page.get_by_role("button", name="Larger").click()
        scales = [
            float(re.search(r"scale\(([\d.]+)\)", one.get_attribute("style") or "").group(1)) for one in panes.all()
        ]  # type: ignore[union-attr]
        assert scales[0] == pytest.approx(scales[1], rel=0.2)  # equal faces, not equal pixels
        before = [one.get_attribute("style") for one in panes.all()]
        page.keyboard.press("ArrowRight")
        for pane, style in enumerate(before):  # both follow
            expect(panes.nth(pane)).not_to_have_attribute("style", style or "")
