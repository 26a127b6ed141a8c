"""For everyone: axe-core on every page at both widths, the whole job by keyboard alone, targets, and languages.

Rules: axe-core, tags wcag2a, wcag2aa, wcag21a, wcag21aa and wcag22aa (W3C, Web Content Accessibility Guidelines 2.2).
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.utils import timezone
from playwright.sync_api import Page, expect

from galleries import storage
from galleries.models import Acceptance, Delivery, Final, Mark, Sitting, Version
from galleries.steps.delivering import licences, sizes
from galleries.steps.picking import pick
from galleries.steps.planning import sitting_plan
from tests.browser.conftest import DESK, PHONE, Come, Device, sideways
from tests.browser.test_marking import ready
from tests.cast import Cast
from tests.web.invitee.sheets import filled, picture

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
WIDTHS = pytest.mark.parametrize("options", [PHONE, DESK], ids=["390", "1280"])


def check(page: Page, what: str) -> None:
    found = Axe().run(page, options={"runOnly": {"type": "tag", "values": TAGS}})
    assert found.response["testEngine"]["name"] == "axe-core"
    problems = [
        f"{what}: {one['id']}: {node['html'][:160]} {node['failureSummary'][:300]}"
        for one in found.response["violations"]
        for node in one["nodes"]
    ]
    assert not problems, "\n".join(problems)
    assert len(found.response["passes"]) > 8, "axe looked at almost nothing"


def small(page: Page, least: float) -> list[str]:
    """Controls that can be seen and are smaller than they should be (links in a sentence are excepted, 2.5.8)."""
    return page.evaluate(  # type: ignore[no-any-return]
        """(least) => [...document.querySelectorAll("button, select, input:not([type=hidden]), textarea, summary, a")]
          .filter((one) => one.checkVisibility({ visibilityProperty: true }))
          .filter((one) => !one.closest("p:not(.row), .unseen, .skip"))
          .map((one) => [one, (one.closest("label.check") ?? one).getBoundingClientRect()])
          .filter(([one, box]) => box.width && box.height && (box.width < least || box.height < least))
          .map(([one, box]) => `${one.outerHTML.slice(0, 90)} ${box.width.toFixed()}×${box.height.toFixed()}`)""",
        least,
    )


def everything(cast: Cast) -> Final:
    """A sitting in which every page has something to show."""
    sizes.load()
    frames = filled(cast)
    pick.set_mark(cast.as_subject, frames[0].pk, kind="pick", note="my best")
    pick.set_mark(cast.as_subject, frames[3].pk, kind="alternate")
    pick.set_mark(cast.as_representation, frames[0].pk, kind="pick")
    pick.set_mark(cast.as_representation, frames[1].pk, kind="strike")
    pick.remark(cast.as_representation, frames[0].pk, "This one first.")
    sitting_plan.comment(cast.as_subject, cast.sitting, "Hair up for the second look?")
    final = Final.objects.create(sitting=cast.sitting, frame=frames[0], round=cast.sitting.rounds.get(), state="shown")
    storage.put(storage.proofs(), "sittings/x/proof/v.jpg", picture(400, 600, 170))
    Version.objects.create(
        final=final, number=1, sha256="a" * 64, key="k", name="KAL_0001_v1.jpg", bytes=1, width=4000, height=6000,
        proof_key="sittings/x/proof/v.jpg", sent_at=timezone.now(),
    )  # fmt: skip
    final.pinned_notes.create(x=0.4, y=0.3, text="softer here", who="Ansa Veld")
    final.pinned_notes.create(x=0.2, y=0.6, width=0.2, height=0.1, text="collar", who="Ansa Veld", done=True)
    licence = licences.compose(cast.sitting, licences.draft(cast.sitting), cast.as_owner)
    made = Delivery.objects.create(
        sitting=cast.sitting, number=1, licence=licence, state="ready",
        sizes={"casting-square": {"title": "Square", "use": "casting"}},
        ready_at=timezone.now(), archive_name="a.zip", archive_key="z", archive_bytes=950,
    )  # fmt: skip
    key = "sittings/x/final/f.jpg"
    storage.put(storage.private(), key, picture(1080, 1080))
    made.files.create(
        final=final, size_slug="casting-square", name="veld-ansa_linen_0001_casting-square.jpg", key=key,
        sha256="b" * 64, bytes=1000, width=1080, height=1080,
    )  # fmt: skip
    return final


@WIDTHS
def test_no_page_of_somebody_invited_shuts_anybody_out(cast: Cast, come: Come, options: dict[str, Any]) -> None:
    final = everything(cast)
    slug, frame = cast.sitting.slug, final.frame
    least = 44 if options is PHONE else 24
    type(cast.representation).objects.update(may_pass_on=True)

    def look(device: Device, path: str, *, scripted: bool = False) -> Page:
        page = device.open(path)
        if scripted:
            ready(page)
        check(page, path)
        assert not small(page, least), (path, small(page, least))
        assert not sideways(page), (path, sideways(page))
        return page

    agent, subject = come(cast.representation, **options), come(cast.subject, **options)
    page = look(agent, f"/s/{slug}/sheet", scripted=True)
    if options is PHONE:
        for width, height in (
            (768, 1024),
            (844, 390),
        ):  # a tablet; a phone that lies, wider than most style sheets think
            page.set_viewport_size({"width": width, "height": height})
            assert not small(page, least), (width, small(page, least))
        seen = page.evaluate(
            "[...document.querySelectorAll('.film img')].map((one) => one.getBoundingClientRect().bottom)"
        )
        tray = page.evaluate("document.querySelector('#tray').getBoundingClientRect().top")
        assert min(seen) <= tray, "no whole picture stands on the first screen of a phone that lies"
        page.set_viewport_size(PHONE["viewport"])  # type: ignore[arg-type]
    page.locator("#your-picks").click()
    expect(page.locator("#picks-film li")).to_have_count(1)
    check(page, "your picks")
    page.keyboard.press("Escape")
    page = look(agent, f"/s/{slug}/sheet?large#frame-{frame.pk}", scripted=True)
    page.get_by_role("button", name="Notes").click()
    expect(page.locator("#remarks")).to_contain_text("This one first.")
    check(page, "large view with notes")
    look(agent, f"/s/{slug}/compare?look={frame.look_id}", scripted=True)
    look(agent, f"/s/{slug}/plan")
    page = look(agent, f"/s/{slug}/lists")
    if options is PHONE:
        page.set_viewport_size({"width": 844, "height": 390})
        top = page.locator(".pair img").first.evaluate("(one) => one.getBoundingClientRect().top")
        assert top < 190, f"on a phone that lies the pictures of the lists begin {top} px down"
        page.set_viewport_size(PHONE["viewport"])  # type: ignore[arg-type]
    page.get_by_role("button", name="Go on to close the list").click()
    check(page, "asking before closing")
    look(agent, f"/s/{slug}/pass-on")
    Sitting.objects.update(stage="finishing")
    look(subject, f"/s/{slug}/finals")
    look(subject, f"/s/{slug}/final/{final.pk}", scripted=True)
    page = look(subject, f"/s/{slug}/delivery")
    page.get_by_role("button", name="I accept").click()
    expect(page.get_by_text("You can fetch the files.")).to_be_visible()
    check(page, "delivery, accepted")
    alone, all_of_it = page.locator(".prints li:only-child").first, page.locator(".prints").first
    wide = [one.evaluate("(box) => box.getBoundingClientRect().width") for one in (alone, all_of_it)]
    assert options is DESK or wide[0] == wide[1], "a file alone in its use leaves no half of a phone empty"
    assert not small(page, least), small(page, least)
    look(agent, f"/s/{slug}/lists")
    nobody = come(None, **options)
    for path in ("/", "/sign-in", "/sign-in/link", f"/in/{'x' * 32}"):
        look(nobody, path)
    nobody.open(f"/s/{slug}/sheet")
    check(nobody.page, "an error")
    nobody.troubles.clear()


LOST = """document.addEventListener("focusout", ({ target }) => setTimeout(() => requestAnimationFrame(() => {
  if (document.hasFocus() && document.activeElement === document.body)
    console.error(`the focus was lost from ${target.outerHTML.slice(0, 160)}`);
}), 200), true);"""


def by_keyboard(device: Device) -> Device:
    """Whoever has no pointer has only the focus: where it is lost after an act, the test fails (`Device.troubles`)."""
    device.page.add_init_script(LOST)
    return device


def focus_on(page: Page, name: str, most: int = 60) -> None:
    """Go there with the tabulator, as somebody without a pointer would, and see that the focus can be seen."""
    pattern = re.compile(name)
    for _ in range(most):
        page.keyboard.press("Tab")
        said = page.evaluate(
            """() => {
              const one = document.activeElement;
              const label = one.getAttribute("aria-label") ?? (one.labels?.[0]?.textContent) ?? one.textContent;
              const box = one.getBoundingClientRect(), style = getComputedStyle(one);
              return [label.trim().replace(/\\s+/g, " "), style.outlineStyle, box.top, box.bottom, innerHeight];
            }"""
        )
        if pattern.search(said[0]):
            assert said[1] == "solid", f"the focus on {name} cannot be seen"
            assert said[3] > 0, f"{name} is above the window"
            assert said[2] < said[4], f"{name} is below the window"
            return
    raise AssertionError(f"The tabulator does not come to {name}")


def test_the_subject_and_the_agent_do_their_whole_job_by_keyboard(cast: Cast, come: Come) -> None:
    filled(cast, 1, 3)
    subject = ready(by_keyboard(come(cast.subject)).open(f"/s/{cast.sitting.slug}/sheet"))
    subject.keyboard.press("Tab")
    assert subject.evaluate("document.activeElement.textContent") == "To the content"
    subject.keyboard.press("Enter")
    focus_on(subject, "^frame 0001")
    subject.keyboard.press("Enter")
    expect(subject.get_by_role("dialog")).to_be_visible()
    subject.keyboard.press("p")
    subject.keyboard.press("ArrowRight")
    subject.keyboard.press("a")
    subject.keyboard.press("n")
    subject.keyboard.type("the smile")
    focus_on(subject, "Keep the note")
    subject.keyboard.press("Enter")
    subject.keyboard.press("Escape")
    expect(subject.get_by_role("dialog")).to_be_hidden()
    focus_on(subject, "Strike 0003")
    subject.keyboard.press("Space")
    expect(subject.locator("#sending")).to_have_text("Everything is sent.")
    assert dict(Mark.objects.values_list("frame__number", "kind")) == {1: "pick", 2: "alternate", 3: "strike"}
    assert Mark.objects.get(frame__number=2).note == "the smile"
    focus_on(subject, "I am through")
    subject.keyboard.press("Enter")
    slip = subject.get_by_role("dialog", name="Your picks")
    expect(slip.get_by_role("button", name="frame 0001")).to_be_visible()
    focus_on(subject, "I am through")
    subject.keyboard.press("Enter")
    expect(slip.get_by_role("status")).to_contain_text("You are through, and everybody sees it.")
    subject.keyboard.press("Escape")
    expect(subject.get_by_role("button", name="I am through")).to_be_focused()
    subject.locator("#undo").focus()

    agent = ready(by_keyboard(come(cast.representation)).open(f"/s/{cast.sitting.slug}/sheet"))
    focus_on(agent, "Pick 0001")
    agent.keyboard.press("Enter")
    expect(agent.locator("#sending")).to_have_text("Everything is sent.")
    focus_on(agent, "Compare both lists")
    agent.keyboard.press("Enter")
    agent.wait_for_url("**/lists")
    focus_on(agent, "on the list 0002")
    agent.keyboard.press("Space")  # the alternate, too
    focus_on(agent, "Go on to close the list")
    agent.keyboard.press("Enter")
    expect(agent.get_by_role("heading", name="Close the list with 2 finals?")).to_be_visible()
    focus_on(agent, "^Close the list$")
    agent.keyboard.press("Enter")
    expect(agent.locator(".messages")).to_contain_text("The list is closed with 2 finals.")
    assert [final.frame.number for final in Final.objects.filter(on_list=True)] == [1, 2]
    # With the list "Undo" goes, on which the subject still is: on to the words that say why.
    expect(subject.locator("#notices")).to_be_focused()
    expect(subject.locator("#notices")).to_contain_text("closed")


def test_the_subject_approves_and_takes_the_delivery_by_keyboard(cast: Cast, come: Come) -> None:
    final = everything(cast)
    Sitting.objects.update(stage="finishing")
    page = by_keyboard(come(cast.subject)).open(f"/s/{cast.sitting.slug}/finals")
    focus_on(page, "^Look at it")
    page.keyboard.press("Enter")
    page.wait_for_url("**/final/*")
    ready(page)
    focus_on(page, "^Before$")
    page.keyboard.press("Space")
    focus_on(page, "^Approve 0001, version 1")
    page.keyboard.press("Enter")
    expect(page.get_by_text("Approved. Thank you.")).to_be_visible()
    final.refresh_from_db()
    assert final.state == "approved"
    Sitting.objects.update(stage="delivered")
    page.reload()
    focus_on(page, "^Delivery$")
    page.keyboard.press("Enter")
    page.wait_for_url("**/delivery")
    focus_on(page, "^Your name$")
    focus_on(page, "^I accept$")
    page.keyboard.press("Enter")
    expect(page.get_by_text("You can fetch the files.")).to_be_visible()
    focus_on(page, "^Fetch everything")
    storage.put(storage.private(), "z", b"archive of the test" * 50)
    with page.expect_download() as fetched:
        page.keyboard.press("Enter")
    assert Path(fetched.value.path()).read_bytes() == b"archive of the test" * 50
    assert Acceptance.objects.get().name == "Ansa Veld"


def test_focus_is_never_wholly_under_the_tray(cast: Cast, come: Come) -> None:
    """WCAG 2.2, 2.4.11 Focus Not Obscured (Minimum)."""
    filled(cast, 2, 8)
    page = ready(come(cast.subject, **PHONE).open(f"/s/{cast.sitting.slug}/sheet"))
    for _ in range(60):
        page.keyboard.press("Tab")
        hidden = page.evaluate(
            """() => {
              const one = document.activeElement, box = one.getBoundingClientRect();
              const tray = document.querySelector("#tray"), edge = tray.getBoundingClientRect();
              const under = box.top >= edge.top && box.top < edge.bottom;
              return !tray.contains(one) && box.height > 0 && under;
            }"""
        )
        assert not hidden, page.evaluate("document.activeElement.outerHTML.slice(0, 120)")


def test_marks_differ_without_colour(cast: Cast, come: Come) -> None:
    """WCAG 2.2, 1.4.1: each side has its letter, and its line is another picture."""
    frames = filled(cast, 1, 1)
    pick.set_mark(cast.as_subject, frames[0].pk, kind="pick")
    pick.set_mark(cast.as_representation, frames[0].pk, kind="pick")
    page = ready(come(cast.subject).open(f"/s/{cast.sitting.slug}/sheet"))
    drawn = page.locator(".drawn").evaluate_all(
        """(all) => all.map((one) => [
             getComputedStyle(one, "::after").content, getComputedStyle(one).backgroundImage])"""
    )
    letters, pictures = {one[0][:3] for one in drawn}, {one[1] for one in drawn}
    assert letters == {'"S"', '"R"'}
    assert len(pictures) == 2


def test_moving_is_left_out_for_whoever_asks(cast: Cast, come: Come) -> None:
    filled(cast, 1, 2)
    page = ready(come(cast.subject, reduced_motion="reduce").open(f"/s/{cast.sitting.slug}/sheet"))
    longest = page.evaluate(
        """() => Math.max(...[...document.querySelectorAll("*")].flatMap((one) => {
          const style = getComputedStyle(one);
          return [parseFloat(style.transitionDuration), parseFloat(style.animationDuration)];
        }))"""
    )
    assert longest <= 0.001


@pytest.mark.parametrize("language", ["de", "es"])
def test_longer_words_fit_the_phone_too(cast: Cast, come: Come, language: str) -> None:
    final = everything(cast)
    slug = cast.sitting.slug
    agent = come(cast.representation, **{**PHONE, "locale": language})
    for path in (f"sheet#frame-{final.frame_id}", f"compare?look={final.frame.look_id}", "plan", "lists"):
        page = agent.open(f"/s/{slug}/{path}")
        assert page.evaluate("document.documentElement.lang") == language
        assert not sideways(page), (path, sideways(page))
        cut = page.evaluate(
            """() => [...document.querySelectorAll("button, .button")].filter((one) => one.checkVisibility())
              .filter((one) => one.scrollWidth > one.clientWidth + 1).map((one) => one.textContent.trim())"""
        )
        assert not cut, (path, cut)
    Sitting.objects.update(stage="finishing")
    for path in ("finals", f"final/{final.pk}", "delivery"):
        page = agent.open(f"/s/{slug}/{path}")
        assert not sideways(page), (path, sideways(page))
    page.evaluate("document.body.style.minWidth = '391px'")
    assert sideways(page), "what sticks out of a phone is not seen"
