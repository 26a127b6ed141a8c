"""The uploader in a real browser: many files, a cut connection, a reload, duplicates, refused files."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import Page, expect

from galleries.models import Frame, Refusal
from tests.browser.studio_stage import jpeg, visiting
from tests.cast import Cast
from tests.imaging.negatives import Negative, dng, scene

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
THROUGH = re.compile("Through")


@pytest.fixture
def card(tmp_path: Path) -> list[Path]:
    """Twelve frames, one of them twice, one that is no picture, a companion and a raw file of a frame of its own."""
    paths = []
    for number in range(1, 13):
        path = tmp_path / f"KAL_{number:04d}.JPG"
        path.write_bytes(jpeg(10 * number, (640, 960)))
        paths.append(path)
    (tmp_path / "COPY.JPG").write_bytes(paths[0].read_bytes())
    (tmp_path / "PAPER.JPG").write_bytes(b"%PDF-1.4 this is no picture")
    (tmp_path / "KAL_0001.XMP").write_bytes(b"<x/>")
    (tmp_path / "KAL_0013.NEF").write_bytes(dng(Negative(scene(), make="NIKON CORPORATION", dng=False)))
    return [*paths, *(tmp_path / name for name in ("COPY.JPG", "PAPER.JPG", "KAL_0001.XMP", "KAL_0013.NEF"))]


def open_page(page: Page, live_server: Any, cast: Cast) -> list[str]:
    """Open the page; returns the list of names that were really sent, which grows."""
    sent: list[str] = []
    page.on("request", lambda one: sent.append(one.headers["x-file-name"]) if one.method == "PUT" else None)
    page.goto(live_server.url + reverse("studio-upload", args=[cast.sitting.slug]))
    return sent


def test_a_card_comes_in_whole_and_a_second_time_nothing_is_sent(
    come: Any,
    live_server: Any,
    cast: Cast,
    card: list[Path],
) -> None:
    with visiting(come, cast) as page:
        sent = open_page(page, live_server, cast)
        page.set_input_files("#pick-files", card)
        expect(page.locator("#said")).to_have_text(re.compile("Through: 13 new, 1 here already, 1 refused, 0 not sent"))
        expect(page.locator("#said")).to_contain_text("Other files passed over: 1.")
        assert Frame.objects.count() == 13
        assert Frame.objects.get(shown="sensor").file_format == "NEF"
        assert Refusal.objects.get().name == "PAPER.JPG"
        expect(page.get_by_role("heading", name="Not brought in: 1")).to_be_visible()
        expect(page.locator("#troubled li")).to_contain_text("PAPER.JPG")
        expect(page.locator("#frame-count")).to_have_text("13")
        expect(page.get_by_role("button", name="Pause")).to_be_hidden()  # there is nothing left to pause
        assert len(sent) <= 15
        page.reload()
        expect(page.locator("main > section").first).to_contain_text("PAPER.JPG")  # what was refused stands first
        before = len(sent)
        page.set_input_files("#pick-files", card[:12])
        expect(page.locator("#said")).to_have_text(re.compile("Through: 0 new, 12 here already"))
        assert len(sent) == before


def test_a_cut_connection_is_taken_up_again_without_sending_what_is_there(
    come: Any,
    live_server: Any,
    cast: Cast,
    card: list[Path],
) -> None:
    with visiting(come, cast, trouble="ERR_CONNECTION_RESET") as page:
        sent = open_page(page, live_server, cast)
        done: list[str] = []
        page.on("requestfinished", lambda one: done.append(one.url) if one.method == "PUT" else None)
        broken = 0

        def cut(route: Any) -> None:
            nonlocal broken
            # The line breaks after three files, and stays broken for the next five tries.
            if route.request.method == "PUT" and len(done) >= 3 and broken < 5:
                broken += 1
                route.abort("connectionreset")
            else:
                route.continue_()

        page.route("**/upload/**", cut)
        page.set_input_files("#pick-files", card[:12])
        expect(page.locator("#said")).to_have_text(re.compile("Through: 12 new, 0 here already, 0 refused, 0 not sent"))
        assert broken == 5
        assert Frame.objects.count() == 12
        assert len(sent) == 12 + broken


def test_a_reload_in_the_middle_goes_on_where_it_was(
    come: Any,
    live_server: Any,
    cast: Cast,
    card: list[Path],
) -> None:
    with visiting(come, cast) as page:
        page.on("dialog", lambda dialog: dialog.accept())  # 'Frames are still on their way'
        sent = open_page(page, live_server, cast)
        held: list[Any] = []
        page.route("**/upload/file", lambda route: route.continue_() if len(sent) <= 5 else held.append(route))
        page.set_input_files("#pick-files", card[:12])
        expect(page.locator("#files li[data-state=new]")).to_have_count(5)
        page.unroute("**/upload/file")
        page.reload()
        there = Frame.objects.count()
        before = len(sent)
        page.set_input_files("#pick-files", card[:12])
        expect(page.locator("#said")).to_have_text(THROUGH)
        assert Frame.objects.count() == 12
        # Nothing that was there is sent again. Requests on their way at the reload may still arrive after the count.
        assert len(sent) - before <= 12 - there


def test_a_file_that_cannot_be_sent_can_be_tried_again(
    come: Any,
    live_server: Any,
    cast: Cast,
    card: list[Path],
) -> None:
    with visiting(come, cast, trouble="403") as page:
        open_page(page, live_server, cast)
        page.evaluate("document.getElementById('uploader').dataset.retries = '1'")
        page.reload()
        page.route("**/upload/file", lambda route: route.fulfill(status=403, json={"error": "Not now."}))
        page.set_input_files("#pick-files", card[:2])
        expect(page.locator("#troubled li[data-state=failed]")).to_have_count(2)
        expect(page.locator("#troubled li").first).to_contain_text("Not now.")
        page.unroute("**/upload/file")
        page.get_by_role("button", name="Try these again").click()
        expect(page.locator("#files li[data-state=new]")).to_have_count(2)
        expect(page.locator("#troubles")).to_be_hidden()


def test_dropped_files_are_taken_too(
    come: Any,
    live_server: Any,
    cast: Cast,
    card: list[Path],
) -> None:
    with visiting(come, cast) as page:
        open_page(page, live_server, cast)
        transfer = page.evaluate_handle(
            """(bytes) => {
                const data = new DataTransfer();
                data.items.add(new File([new Uint8Array(bytes)], "KAL_0001.JPG", { type: "image/jpeg" }));
                return data;
            }""",
            list(card[0].read_bytes()),
        )
        page.dispatch_event("#dropzone", "drop", {"dataTransfer": transfer})
        expect(page.locator("#said")).to_have_text(re.compile("1 new"))
        assert Frame.objects.get().name == "KAL_0001.JPG"


def test_an_archived_sitting_offers_no_upload(
    come: Any,
    live_server: Any,
    cast: Cast,
) -> None:
    cast.sitting.stage = "archived"
    cast.sitting.save()
    with visiting(come, cast) as page:
        open_page(page, live_server, cast)
        expect(page.get_by_text("is archived: no frames can be added")).to_be_visible()
        expect(page.locator("#uploader")).to_have_count(0)


def test_without_a_secure_context_the_server_hashes(come: Any, live_server: Any, cast: Cast, card: list[Path]) -> None:
    """On set over plain http the browser lends no hash; a file sent again is still one frame."""
    with visiting(come, cast) as page:
        page.add_init_script("Object.defineProperty(window, 'isSecureContext', { value: false })")
        asked: list[str] = []
        page.on("request", lambda one: asked.append(one.url) if one.url.endswith("/known") else None)
        for words in ("3 new, 0 here already", "0 new, 3 here already"):
            open_page(page, live_server, cast)
            page.set_input_files("#pick-files", card[:3])
            expect(page.locator("#said")).to_have_text(re.compile(words))
        assert not asked
        assert Frame.objects.count() == 3
