"""The large view, side by side, and before/after, with fingers, mouse and keys."""

from __future__ import annotations

import re
import time
from itertools import count

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from galleries.models import Frame, Mark, Sitting, Standing
from galleries.steps.delivering import sizes
from galleries.steps.picking import pick
from tests.browser.conftest import PHONE, Come, sideways
from tests.browser.test_marking import ready
from tests.cast import Cast
from tests.web.invitee.sheets import READING, filled, proved

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
BIG = (1365, 2048)


def placed(page: Page, selector: str = "#large-picture") -> dict[str, float]:
    return page.locator(selector).first.evaluate("one => one.getBoundingClientRect().toJSON()")  # type: ignore[no-any-return]


def test_the_large_view_steps_by_keys_and_back_closes_it(cast: Cast, come: Come) -> None:
    frames = filled(cast)
    page = ready(come(cast.subject).open(f"/s/{cast.sitting.slug}/sheet"))
    page.get_by_role("link", name=re.compile("frame 0001")).click()
    dialog = page.get_by_role("dialog")
    expect(dialog).to_be_visible()
    expect(dialog).to_contain_text("0001")
    page.keyboard.press("ArrowRight")
    expect(dialog).to_contain_text("0002")
    expect(page).to_have_url(re.compile(f"#frame-{frames[1].pk}$"))
    page.keyboard.press("p")
    expect(dialog.get_by_role("button", name="Pick")).to_have_attribute("aria-pressed", "true")
    page.keyboard.press("t")
    expect(dialog.get_by_role("button", name="Pick")).to_have_attribute("aria-pressed", "false")
    expect(dialog).to_contain_text("Taken back: 0002. Nothing picked yet")  # as it stands after the act, not before
    page.go_back()
    expect(dialog).to_be_hidden()
    assert page.url.endswith("/sheet")
    page.go_forward()
    expect(dialog).to_be_visible()
    page.keyboard.press("Escape")
    expect(dialog).to_be_hidden()


def test_single_keys_can_be_switched_off(cast: Cast, come: Come) -> None:
    """WCAG 2.2, 2.1.4 Character Key Shortcuts."""
    frames = filled(cast, 1, 2)
    page = ready(come(cast.subject).open(f"/s/{cast.sitting.slug}/sheet#frame-{frames[0].pk}"))
    page.get_by_text("Keys", exact=True).click()
    page.get_by_label("Single keys act").uncheck()
    page.locator("#stage").click(position={"x": 300, "y": 200})
    page.keyboard.press("p")
    page.wait_for_timeout(200)
    assert not Mark.objects.exists()


@pytest.mark.parametrize("options", [PHONE, {}], ids=["phone", "desk"])
def test_no_picture_is_larger_than_the_screen_until_asked(cast: Cast, come: Come, options: dict[str, object]) -> None:
    look = cast.look()
    tall, wide = proved(cast, 1, look, large=BIG), proved(cast, 2, look, large=(2048, 1365))
    device = come(cast.subject, **options)
    for frame in (tall, wide):
        page = ready(device.open(f"/s/{cast.sitting.slug}/sheet?{frame.pk}#frame-{frame.pk}"))
        stage, box = placed(page, "#stage"), placed(page)
        assert box["width"] <= stage["width"] + 1
        assert box["height"] <= stage["height"] + 1
        assert not sideways(page), sideways(page)


def test_100_per_cent_is_one_pixel_for_one_and_shows_the_eyes(cast: Cast, come: Come) -> None:
    look = cast.look()
    one = proved(cast, 1, look, large=BIG)
    proved(cast, 2, look, large=BIG)
    page = ready(come(cast.subject).open(f"/s/{cast.sitting.slug}/sheet#frame-{one.pk}"))
    expect(page.locator("#large-picture")).to_have_attribute("src", re.compile("/middle/"))  # enough for this screen
    page.keyboard.press("e")
    expect(page.locator("#large-picture")).to_have_attribute("src", re.compile("/large/"))
    stage, box = placed(page, "#stage"), placed(page)
    assert box["width"] == pytest.approx(1365, abs=1)
    # the reading says: pupils at (2000, 2000) of 4000 × 6000
    assert box["x"] + 0.5 * box["width"] == pytest.approx(stage["x"] + stage["width"] / 2, abs=2)
    assert box["y"] + box["height"] / 3 == pytest.approx(stage["y"] + stage["height"] / 2, abs=2)
    before = box
    page.keyboard.press("ArrowRight")
    assert placed(page)["y"] == pytest.approx(before["y"], abs=2)  # the next frame at the same place
    page.keyboard.press("Shift+ArrowDown")
    assert placed(page)["y"] == pytest.approx(before["y"] - 60, abs=2)
    # without a drag: what is pressed comes to the middle
    page.wait_for_timeout(400)
    at = placed(page)
    page.mouse.click(stage["x"] + stage["width"] / 2 + 80, stage["y"] + stage["height"] / 2 + 70)
    assert placed(page)["x"] == pytest.approx(stage["width"] - 1365, abs=2)  # the edge of the picture stays outside
    assert placed(page)["y"] == pytest.approx(at["y"] - 70, abs=2)
    page.keyboard.press("e")
    # What was said under the picture may have passed by now, and left its room to the stage.
    assert placed(page)["height"] <= placed(page, "#stage")["height"] + 1


def test_the_face_keeps_its_size_and_place_on_request_and_the_device_remembers_it(cast: Cast, come: Come) -> None:
    look = cast.look()
    far = proved(cast, 1, look, large=BIG)
    face = {**READING["face"], "right_eye": [1199.5, 2999.5], "left_eye": [1999.5, 2999.5]}  # type: ignore[dict-item]
    proved(cast, 2, look, large=BIG, reading={**READING, "face": face})
    device = come(cast.subject, **PHONE)
    page = ready(device.open(f"/s/{cast.sitting.slug}/sheet#frame-{far.pk}"))
    whole = placed(page)
    page.get_by_role("button", name="Keep the face in place").tap()
    expect(page.locator("[data-act=steady]")).to_have_attribute("aria-pressed", "true")
    assert placed(page) == pytest.approx(whole, abs=1)  # this one is the measure
    for _turn in range(2):
        page.locator("[data-act=next]").tap()
        expect(page.locator("#large-no")).to_have_text("0002")
        # the reading: eyes twice as far apart, their middle at (0.4, 0.5) instead of (0.5, 1/3) of the frame
        there = placed(page)
        assert there["width"] == pytest.approx(whole["width"] / 2, abs=1)
        assert there["x"] + 0.4 * there["width"] == pytest.approx(whole["x"] + 0.5 * whole["width"], abs=1)
        assert there["y"] + 0.5 * there["height"] == pytest.approx(whole["y"] + whole["height"] / 3, abs=1)
        page = ready(device.open(f"/s/{cast.sitting.slug}/sheet?again#frame-{far.pk}"))
        expect(page.locator("[data-act=steady]")).to_have_attribute("aria-pressed", "true")
    page.keyboard.press("f")  # heard, although the button that led to the last frame went dead
    expect(page.locator("[data-act=steady]")).to_have_attribute("aria-pressed", "false")


def test_double_tap_swipe_and_pinch(cast: Cast, come: Come) -> None:
    look = cast.look()
    one = proved(cast, 1, look, large=BIG)
    proved(cast, 2, look, large=BIG)
    device = come(cast.subject, **PHONE)
    page = ready(device.open(f"/s/{cast.sitting.slug}/sheet#frame-{one.pk}"))
    expect(page.locator("#large-no")).to_have_text("0001")
    wire = device.context.new_cdp_session(page)
    # Each touch says when it was, as a finger's does: 40 ms after the one before, however late a busy machine sends it.
    moments = count(time.time(), 0.04)

    def touch(kind: str, *points: tuple[float, float]) -> None:
        sent = [{"x": x, "y": y, "id": i} for i, (x, y) in enumerate(points)]
        wire.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": sent, "timestamp": next(moments)})

    for _ in range(2):
        touch("touchStart", (200, 300))
        touch("touchEnd")
    expect(page.locator("#stage")).to_have_class(re.compile("zoomed"))
    for _ in range(2):
        touch("touchStart", (200, 300))
        touch("touchEnd")
    expect(page.locator("#stage")).not_to_have_class(re.compile("zoomed"))
    width = placed(page)["width"]
    touch("touchStart", (150, 400), (250, 400))
    for reach in (60, 80, 100, 120):
        touch("touchMove", (200 - reach, 400), (200 + reach, 400))
    touch("touchEnd")
    assert placed(page)["width"] > 1.6 * width
    page.locator("[data-act=zoom]").tap()
    expect(page.locator("#stage")).not_to_have_class(re.compile("zoomed"))
    touch("touchStart", (300, 400))
    for x in (260, 200, 150):
        touch("touchMove", (x, 402))
    touch("touchEnd")
    expect(page.locator("#large-no")).to_have_text("0002")
    # What is pressed again and again is done as the finger lifts, before the browser makes a click of it.
    lifted = """(one) => {
      const told = { bubbles: true, cancelable: true, pointerId: 9, pointerType: "touch", isPrimary: true };
      for (const kind of ["pointerdown", "pointerup"]) one.dispatchEvent(new PointerEvent(kind, told));
    }"""
    page.locator("#large [data-act=pick]").evaluate(lifted)
    expect(page.locator("#large [data-act=pick]")).to_have_attribute("aria-pressed", "true")
    page.locator("#large [data-act=close]").evaluate(lifted)
    large = page.locator("#large")
    expect(large).to_be_hidden()
    expect(large).to_have_css("display", "grid")  # laid out ahead, for nobody to see, hear or reach by keys
    page.locator(f"#f{one.pk} a.open").evaluate(lifted)
    expect(large).to_be_visible()
    assert large.evaluate("one => one.matches(':modal')")


def test_black_and_white_surround_and_the_crop(cast: Cast, come: Come) -> None:
    sizes.load()
    one = proved(cast, 1, cast.look(), large=BIG)
    page = ready(come(cast.subject).open(f"/s/{cast.sitting.slug}/sheet#frame-{one.pk}"))
    page.keyboard.press("m")
    assert "grayscale" in page.locator("#large-picture").evaluate("one => getComputedStyle(one).filter")
    dark = page.locator("#stage").evaluate("one => getComputedStyle(one).backgroundColor")
    page.keyboard.press("g")
    mid = page.locator("#stage").evaluate("one => getComputedStyle(one).backgroundColor")
    for colour in (dark, mid):  # no cast: red = green = blue
        assert len(set(re.findall(r"\d+", colour)[:3])) == 1
    assert dark != mid
    choice = page.get_by_label("Show as a crop")
    expect(choice.locator("option")).not_to_have_count(1)
    choice.select_option(label="Casting upload, square")
    numbers = [float(x) for x in re.findall(r"-?[\d.]+", page.locator("#crop-shape path").get_attribute("d") or "")]
    left, top, right, bottom = numbers[-5], numbers[-4], numbers[-3], numbers[-2]
    assert right - left == pytest.approx(bottom - top, abs=1.5)
    box = placed(page)
    stage = placed(page, "#stage")
    eye = box["y"] - stage["y"] + box["height"] / 3
    assert top < eye < bottom


def test_the_knock_out_ends_in_an_order_that_is_kept(cast: Cast, come: Come) -> None:
    frames = filled(cast, 1, 6)
    numbers = {frame.pk: frame.number for frame in frames}
    liking = [4, 2, 6, 1, 5, 3]  # the person's taste, best first
    page = ready(come(cast.subject).open(f"/s/{cast.sitting.slug}/compare?look={frames[0].look_id}"))
    rounds = 0
    while page.locator("#finished").is_hidden():
        expect(page.locator(".pane .no")).to_have_count(2)
        shown = [int(text) for text in page.locator(".pane .no").all_text_contents()]
        best = min(shown, key=liking.index)
        page.get_by_role("button", name=f"Keep {best:04d}").click()
        rounds += 1
        assert rounds < 16, "a knock-out of six must end"
    kept = [int(text) for text in page.locator("#order .typed").all_text_contents()]
    assert kept == liking
    expect(page.get_by_role("button", name="Close on the eyes")).to_be_hidden()  # nothing is left to look at
    page.get_by_role("button", name="Keep this order").click()
    expect(page.locator("#finished-words")).to_have_text("Your order is kept.")
    stored = Standing.objects.filter(invite=cast.subject).order_by("place").values_list("frame_id", flat=True)
    assert [numbers[pk] for pk in stored] == liking
    page.get_by_role("button", name="Pick the first 3").click()  # as many as are included
    expect(page.locator("#finished-words")).to_have_text("The first 3 are picked. Your order is kept.")


def test_many_frames_are_sorted_into_three_heaps_by_keys_and_one_press_marks_them(cast: Cast, come: Come) -> None:
    frames = filled(cast, 1, 14)
    pick.set_mark(cast.as_subject, frames[13].pk, kind="strike")  # left out
    page = ready(come(cast.subject, **PHONE).open(f"/s/{cast.sitting.slug}/compare?look={frames[0].look_id}"))
    expect(page.locator("#heaps-offer")).to_contain_text("13 frames: three heaps take 13 presses")
    page.get_by_role("button", name="Sort into three heaps").tap()
    expect(page.locator("#heaps-question")).to_have_text("0001, 1 of 13: on which heap?")
    expect(page.get_by_role("button", name="Yes", exact=True)).to_be_focused()
    for number, key in enumerate("yhntyhnnnnnnn", 1):  # T takes the third back, so that twelve are laid
        page.keyboard.press(key)
        laid = number if number < 4 else number - 2
        if laid < 13:
            expect(page.locator("#heaps-question")).to_contain_text(f", {laid + 1} of 13")
    page.get_by_role("button", name="No", exact=True).tap()
    page.get_by_role("button", name="No", exact=True).tap()
    expect(page.get_by_role("heading", name="Your three heaps")).to_be_focused()
    expect(page.locator("#heaps-told")).to_contain_text("2 to pick, 2 as alternates, 9 left out.")
    page.get_by_role("button", name="Make marks of the heaps").tap()
    expect(page.get_by_role("button", name="Take these marks back")).to_be_focused()
    kinds = dict(Mark.objects.exclude(kind="").values_list("frame__number", "kind"))
    marked = {1: "pick", 2: "alternate", 3: "pick", 4: "alternate", 14: "strike"}
    for _turn in range(100):
        if kinds == marked:
            break
        page.wait_for_timeout(100)
        kinds = dict(Mark.objects.exclude(kind="").values_list("frame__number", "kind"))
    assert kinds == marked
    page.get_by_role("button", name="Knock-out among the first heap").tap()
    expect(page.locator(".pane .no")).to_have_text(["0001", "0003"])


def test_four_at_a_time_with_undo_and_an_early_end(cast: Cast, come: Come) -> None:
    frames = filled(cast, 1, 7)
    page = ready(come(cast.subject, **PHONE).open(f"/s/{cast.sitting.slug}/compare?look={frames[0].look_id}"))
    page.get_by_role("button", name="Four").click()
    expect(page.locator(".pane")).to_have_count(4)
    page.get_by_role("button", name="Keep 0003").click()
    expect(page.locator("#said")).to_have_text("0003 stays.")
    covered = page.evaluate(
        """() => {
          const said = document.querySelector("#said").getBoundingClientRect();
          const lies = ({ left, top, right, bottom, width }) =>
            width && left < said.right && right > said.left && top < said.bottom && bottom > said.top;
          return [...document.querySelectorAll("a, button")].filter((one) => lies(one.getBoundingClientRect()))
            .map((one) => one.textContent.trim());
        }"""
    )
    assert not covered, "what passes lies over no control"
    expect(page.locator(".pane .no")).to_have_text(["0005", "0006", "0007", "0003"])
    page.get_by_role("button", name="Undo").click()
    expect(page.locator(".pane .no")).to_have_text(["0001", "0002", "0003", "0004"])
    page.get_by_role("button", name="Keep 0002").click()
    page.get_by_role("button", name="Enough: take the order so far").click()
    expect(page.locator("#order .typed")).to_have_count(7)
    kept = [int(text) for text in page.locator("#order .typed").all_text_contents()]
    assert kept[0] == 2
    assert sorted(kept) == list(range(1, 8))
    for row in page.locator("#order li").all():  # a picture that comes late moves no button away from under the press
        assert row.evaluate("li => li.querySelector('img').getBoundingClientRect().width") > 0
    page.get_by_role("button", name="0002 one down").click()
    expect(page.locator("#order .typed").first).to_have_text(f"{kept[1]:04}")
    expect(page.locator("#order .typed").nth(1)).to_have_text("0002")


def test_side_by_side_zoom_is_locked(cast: Cast, come: Come) -> None:
    look = cast.look()
    for number in (1, 2):
        proved(cast, number, look, large=BIG)
    page = ready(come(cast.subject).open(f"/s/{cast.sitting.slug}/compare?look={look.pk}"))
    page.get_by_role("button", name="Close on the eyes").click()
    one, other = (placed(page, f".pane:nth-child({n}) .stage img") for n in (1, 2))
    assert one["width"] == other["width"] == pytest.approx(1365, abs=1)
    stages = [placed(page, f".pane:nth-child({n}) .stage") for n in (1, 2)]
    assert one["x"] - stages[0]["x"] == pytest.approx(other["x"] - stages[1]["x"], abs=1)
    page.mouse.move(stages[0]["x"] + 100, stages[0]["y"] + 200)
    page.mouse.down()
    page.mouse.move(stages[0]["x"] + 40, stages[0]["y"] + 150, steps=4)
    page.mouse.up()
    moved, follows = (placed(page, f".pane:nth-child({n}) .stage img") for n in (1, 2))
    assert moved["y"] == pytest.approx(one["y"] - 50, abs=2)
    assert moved["x"] - stages[0]["x"] == pytest.approx(follows["x"] - stages[1]["x"], abs=1)
    assert moved["y"] == pytest.approx(follows["y"], abs=1)
    page.keyboard.press("Shift+ArrowUp")
    assert placed(page, ".pane:nth-child(2) .stage img")["y"] == pytest.approx(follows["y"] + 60, abs=2)


def test_both_eyes_have_room_at_100_per_cent_on_a_phone_and_stay_near(cast: Cast, come: Come) -> None:
    look = cast.look()
    for number in (1, 2, 3):
        proved(cast, number, look, large=BIG)
    page = ready(come(cast.subject, **PHONE).open(f"/s/{cast.sitting.slug}/compare?look={look.pk}"))
    page.get_by_role("button", name="Close on the eyes").click()
    for _round in range(2):
        expect(page.locator(".panes.rows .stage.zoomed")).to_have_count(2)
        for n in (1, 2):  # pupils at 0.45 and 0.55 of the width (tests/web/sheets.py), and as much beside each
            assert placed(page, f".pane:nth-child({n}) .stage")["width"] > 0.2 * BIG[0]
        page.get_by_role("button", name="Keep 000").first.click()
    page.goto(page.url)
    ready(page)
    expect(page.locator(".panes.rows")).to_have_count(0)


def test_filter_and_choosing_frames_to_compare(cast: Cast, come: Come) -> None:
    frames = filled(cast)
    page = ready(come(cast.subject).open(f"/s/{cast.sitting.slug}/sheet"))
    page.get_by_role("button", name="Strike 0001").click()
    page.get_by_label("Show", exact=True).select_option("unstruck")
    expect(page.locator(f"#f{frames[0].pk}")).to_be_hidden()
    if page.locator("#tools-open").is_visible():
        page.locator("#tools-open").click()
    page.get_by_role("button", name="Compare some").click()
    for number in (2, 5):
        page.get_by_role("link", name=re.compile(f"frame {number:04d}")).click()
    page.get_by_role("button", name="Compare", exact=True).click()
    expect(page.locator(".pane .no")).to_have_text(["0002", "0005"])


def retouched(cast: Cast, frame: Frame) -> int:
    """A final of this frame whose first version is shown; its number."""
    from galleries import storage
    from galleries.models import Final, Version
    from tests.web.invitee.sheets import picture

    Sitting.objects.update(stage="finishing")
    final = Final.objects.create(sitting=cast.sitting, frame=frame, round=cast.sitting.rounds.get(), state="shown")
    storage.put(storage.proofs(), "sittings/x/proof/v.jpg", picture(400, 600, 170))
    Version.objects.create(
        final=final, number=1, sha256="a" * 64, key="k", name="KAL_0001_v1.jpg", bytes=1, width=4000, height=6000,
        proof_key="sittings/x/proof/v.jpg", sent_at=timezone.now(),
    )  # fmt: skip
    return int(final.pk)


def test_before_and_after_and_a_note_pinned_with_keys_only(cast: Cast, come: Come) -> None:
    from galleries.models import Final, PinnedNote

    frame = proved(cast, 1, cast.look())
    final = Final.objects.get(pk=retouched(cast, frame))
    page = ready(come(cast.subject).open(f"/s/{cast.sitting.slug}/final/{final.pk}"))
    before, stage = page.locator("#before"), placed(page, "#stage")
    middle = (stage["x"] + stage["width"] / 2, stage["y"] + stage["height"] / 2)
    expect(before).to_have_attribute("style", re.compile(r"50(\.00)?%"))
    page.locator("#split").press("Home")
    expect(before).to_have_attribute("style", re.compile(r"100(\.00)?%"))
    page.get_by_role("button", name="Before", exact=True).press("Enter")
    expect(before).to_have_attribute("style", re.compile(r"inset\(0px( 0%| 0px|\))"))
    page.get_by_role("button", name="Before", exact=True).press("Enter")
    # Across on the picture draws the line, whoever draws; the line's value says where it stands.
    page.mouse.move(*middle)
    page.mouse.down()
    page.mouse.move(middle[0] + 60, middle[1] + 4, steps=4)
    page.mouse.up()
    expect(page.locator("#split")).not_to_have_attribute("aria-valuenow", re.compile("^(0|50|100)$"))
    # With keys: the mark is moved by the arrows, Enter opens the note.
    page.get_by_role("button", name="Pin a note").press("Enter")
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("Enter")
    page.get_by_label("Wish").filter(visible=True).fill("softer here")
    page.get_by_role("button", name="Pin it").filter(visible=True).press("Enter")
    expect(page.locator(".pins")).to_contain_text("softer here")
    note = PinnedNote.objects.get()
    assert (note.x, note.y, note.who) == (pytest.approx(0.48, abs=0.01), pytest.approx(0.5, abs=0.01), "Ansa Veld")
    assert page.url.endswith(f"/final/{final.pk}")
    # A long press, and a box drawn from it.
    ready(page)
    page.mouse.move(*middle)
    page.mouse.down()
    expect(page.locator("#new-pin")).to_be_visible()
    page.mouse.move(middle[0] + 60, middle[1] + 40, steps=3)
    page.mouse.up()
    expect(page.locator("#pinning")).to_be_visible()
    expect(page.locator("#pinning [name=width]")).not_to_have_value("0")
    page.keyboard.press("Escape")
    expect(page.locator("#new-pin")).to_be_hidden()
    # Down on the picture the page scrolls.
    expect(page.locator("#stage")).to_have_css("touch-action", "pan-y")
    page.mouse.move(*middle)
    page.mouse.wheel(0, 200)
    expect(page.locator("html")).not_to_have_js_property("scrollTop", 0)
    page.get_by_role("button", name="Approve").click()
    expect(page.get_by_text("Approved. Thank you.")).to_be_visible()
    final.refresh_from_db()
    assert final.state == "approved"


def test_on_a_phone_the_picture_is_the_page(cast: Cast, come: Come) -> None:
    """At least 60 % of the first screen is picture, two rows begin on it, and the bar gives way."""
    filled(cast, 2, 6)
    page = ready(come(cast.subject, **{**PHONE, "locale": "de-DE"}).open(f"/s/{cast.sitting.slug}/sheet"))
    page.wait_for_timeout(300)
    # The way to the tools stands whole in the bar, and over no other page's name, in the longest language too.
    ends = page.locator(".head nav li").evaluate_all("(all) => all.map((one) => one.getBoundingClientRect().right)")
    assert ends[-1] <= 390
    assert page.locator("#tools-open").evaluate("(one) => one.getBoundingClientRect().left") >= ends[-2] - 1
    share, rows = page.evaluate(
        """() => {
          const tray = document.querySelector("#tray").getBoundingClientRect().top;
          let area = 0; const tops = new Set();
          for (const one of document.querySelectorAll(".frame .open")) {
            const box = one.getBoundingClientRect(), bottom = Math.min(box.bottom, tray);
            if (bottom <= box.top) continue;
            area += (bottom - box.top) * box.width; tops.add(Math.round(box.top));
          }
          return [area / (innerWidth * innerHeight), tops.size];
        }"""
    )
    assert share >= 0.6
    assert rows >= 2
    page.evaluate("scrollTo(0, 900)")
    expect(page.locator("body")).to_have_class(re.compile("away"))
    page.evaluate("scrollTo(0, 600)")
    expect(page.locator("body")).not_to_have_class(re.compile("away"))


def test_a_phone_that_lies_gives_its_height_to_the_picture(cast: Cast, come: Come) -> None:
    """At least half of the screen is the picture's stage, and what acts on it stands whole beside it."""
    frames = filled(cast, 1, 3)
    final, slug = retouched(cast, frames[0]), cast.sitting.slug
    page = ready(
        come(cast.subject, **{**PHONE, "viewport": {"width": 667, "height": 375}}).open(
            f"/s/{slug}/sheet#frame-{frames[0].pk}"
        )
    )
    picture = """(acts) => {
      const stage = document.querySelector("#stage").getBoundingClientRect(), away = [];
      for (const one of document.querySelectorAll(acts)) {
        const box = one.getBoundingClientRect(), width = document.documentElement.clientWidth;
        const outside = box.top < 0 || box.bottom > innerHeight || box.right > width || box.height < 44;
        const upon = box.left < stage.right && stage.left < box.right && box.top < stage.bottom;
        if (outside || upon) away.push(one.outerHTML);
      }
      const seen = (Math.min(stage.bottom, innerHeight) - stage.top) * stage.width;
      return [seen / (innerWidth * innerHeight), stage.height / innerHeight, away];
    }"""
    expect(page.locator("#large-picture")).to_be_visible()
    for act in ("close", "talk"):  # with the notes open the rest still stands beside the picture
        share, height, away = page.evaluate(picture, ".large-foot .m, .large-foot .plain, .large-head > button")
        assert height == 1
        assert not away
        assert share >= (0.5 if act == "close" else 0.25)
        page.locator(".large-head [data-act=talk]").tap()
    page.goto(page.url.split("/s/")[0] + f"/s/{slug}/final/{final}")
    ready(page)
    shown = ".final-bar .button:not(form:has(textarea) *), .final-tools .button:not([id^=zoom-])"
    share, _, away = page.evaluate(picture, shown)
    assert share >= 0.5
    assert not away


def test_the_one_frame_of_a_look_has_the_width_of_a_phone(cast: Cast, come: Come) -> None:
    one, two = cast.look(), cast.look("Rims on charcoal")
    for number, look in ((1, one), (2, two), (3, two)):
        proved(cast, number, look)
    page = ready(come(cast.subject, **PHONE).open(f"/s/{cast.sitting.slug}/sheet"))
    wide, cells = page.evaluate(
        """() => [document.documentElement.clientWidth,
          [...document.querySelectorAll(".frame img")].map((one) => one.getBoundingClientRect().width)]"""
    )
    assert cells == pytest.approx([wide, wide / 2, wide / 2], abs=4)
    # the place that is kept for it is as high as it is
    strip = page.locator(".look-strip").first
    kept = strip.evaluate("one => parseFloat(one.style.containIntrinsicSize.match(/([\\d.]+)px$/)[1])")
    assert kept == pytest.approx(strip.bounding_box()["height"], abs=2)
