"""The whole job on a real site: its own web server, worker and queue, three people in three browsers.

From a card of camera files to a fetched archive, every file of it opened and read by outside programs
(Pillow for pixels and profile, ExifTool for metadata, Info-ZIP for the archive, sha256sum for the manifest).
"""

from __future__ import annotations

import hashlib
import io
import json
import re
import subprocess
import sys
import zipfile
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from PIL import Image, ImageCms
from playwright.sync_api import Browser, Page, expect

from galleries import painter
from tests.browser import line
from tests.browser.conftest import DESK, PHONE
from tests.pictures import plan, put_card
from tests.servers import free_port, listens, queue_server, running
from tests.services.site import ROOT, Site

pytestmark = [pytest.mark.browser, pytest.mark.timeout(600)]

LONG_SIDE = 3600  # large enough for an 8×10 in print without enlarging
SUBJECT = ("subject", "Ansa Veld", "ansa@veld.example")
AGENT = ("representation", "Ruben Achterberg", "ruben@achterberg.example")
APPROVE = re.compile(r"^Approve \S+, version 1")
SIZES = ("8×10", "square", "full")


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Site]:
    port = free_port()
    home = tmp_path / "home"
    home.mkdir()
    site = Site(home, PORTAL_URL=f"http://localhost:{port}", PORTAL_JOB_LEASE_SECONDS="15")
    site.migrate()
    site.collect_static()
    site.manage("sizes")
    command = [sys.executable, "-W", "ignore", "-m", "granian", "--interface", "wsgi", "--host", "127.0.0.1"]
    command += ["--port", str(port), "--no-ws", "--log-level", "warning", "portal.wsgi:application"]
    with ExitStack() as stack:
        stack.enter_context(queue_server(home))
        stack.enter_context(site.worker("-B", "--concurrency", "2"))
        stack.enter_context(running(command, "", lambda: listens(port), home / "web.log", env=site.env, cwd=ROOT))
        yield site


def link_in_letter(site: Site, to: str) -> str:
    """The link of the newest letter to somebody, as the mail folder has it."""
    found = []
    for path in sorted((site.home / "mail").glob("*")):
        text = path.read_text()
        if f"To: {to}" in text:
            found += re.findall(r"http://localhost:\d+/i/[\w-]+", text)
    assert found, f"no letter to {to}"
    return found[-1]


def test_from_a_card_to_a_fetched_archive(site: Site, browser: Browser, tmp_path: Path) -> None:
    card = put_card(tmp_path / "card", 6, LONG_SIDE)
    (tmp_path / "card" / "broken.jpg").write_bytes(card[0].read_bytes()[:50_000])
    contexts = {
        "photographer": browser.new_context(**DESK, locale="en-GB", accept_downloads=True),
        "subject": browser.new_context(**PHONE, locale="en-GB", accept_downloads=True),
        "agent": browser.new_context(**DESK, locale="en-GB"),
    }
    try:
        studio, phone, agent = (context.new_page() for context in contexts.values())
        troubles: list[str] = []
        for page in (studio, phone, agent):
            page.set_default_timeout(30_000)
            page.on("pageerror", lambda error: troubles.append(str(error)))
        base = line.set_up(site, studio)
        line.bring_in(studio, base, tmp_path / "card", 6, "broken.jpg")
        invite(studio, base)
        mark(site, phone, agent, studio, base)
        names = close(agent, studio)
        finish(site, studio, phone, base, tmp_path, names)
        deliver(studio, base)
        archive = line.fetch(phone, tmp_path)
        check(archive, names, tmp_path)
        receipts(studio, base)
        assert not troubles, troubles
    finally:
        for context in contexts.values():
            context.close()


def invite(studio: Page, base: str) -> None:
    studio.goto(base)
    line.press(studio, "Show the proofs")
    for role, name, email in (SUBJECT, AGENT):
        line.invite_one(studio, base, role, name, email)  # the letter is shown, since mail lies in a folder here
        studio.goto(base + "people")
        expect(studio.get_by_role("heading", name=name)).to_be_visible()


def mark(site: Site, phone: Page, agent: Page, studio: Page, base: str) -> None:
    for page, (_role, _name, email) in ((phone, SUBJECT), (agent, AGENT)):
        for _ in range(100):
            if any(f"To: {email}" in path.read_text() for path in (site.home / "mail").glob("*")):
                break
            page.wait_for_timeout(200)
        line.come_in(page, link_in_letter(site, email), 6)
    frames = phone.locator("li.frame")
    frames.nth(0).locator("button.pick").tap()
    frames.nth(1).locator("button.pick").tap()
    frames.nth(2).locator("button.strike").tap()
    frames.nth(1).locator("a.open").tap()
    large = phone.locator("dialog#large")
    expect(large).to_be_visible()
    phone.keyboard.press("ArrowRight")
    expect(phone.locator("#large-no")).to_have_text(plan().frames[2].name.split("_")[1].split(".")[0])
    large.get_by_role("button", name="Notes").tap()
    large.locator("#note").fill("eyes shut here")
    large.get_by_role("button", name="Keep the note").tap()
    expect(phone.locator("#note-said")).not_to_have_text("")
    large.get_by_role("button", name="Back").tap()
    expect(phone.locator("#sending")).to_have_text("Everything is sent.")
    agent_frames = agent.locator("li.frame")
    agent_frames.nth(1).locator("button.pick").click()
    agent_frames.nth(0).locator("button.alternate").click()
    expect(agent.locator("#sending")).to_have_text("Everything is sent.")
    agent.reload()
    expect(agent_frames.nth(1).locator("button.pick")).to_have_attribute("aria-pressed", "true")
    studio.goto(base + "lists")
    expect(studio.locator("body")).to_contain_text("eyes shut here")
    line.press(phone, "I am through")
    slip = phone.get_by_role("dialog", name="Your picks")
    slip.get_by_role("button", name="I am through").click()
    expect(slip.get_by_role("status")).to_contain_text("You are through, and everybody sees it.")


def close(agent: Page, studio: Page) -> list[str]:
    agent.goto(re.sub(r"/s/([^/]+)/.*", r"/s/\1/lists", agent.url))
    chosen = {plan().frames[index].name.split("_")[1].split(".")[0] for index in (0, 1)}
    for row in agent.locator("li.list-row").all():
        row.locator('input[name="frame"]').set_checked(any(label in row.inner_text() for label in chosen))
    line.press(agent, "Go on to close the list")
    line.press(agent, "Close the list")
    # The photographer's page, open on the lists, turns by itself.
    expect(studio.get_by_role("heading", name="The closed list: 2 frames")).to_be_visible(timeout=30_000)
    with studio.expect_download() as download:
        studio.get_by_role("link", name="file names").click()
    names = Path(download.value.path()).read_text().split()
    assert sorted(names) == sorted(plan().frames[index].name for index in (0, 1))
    return names


def finish(site: Site, studio: Page, phone: Page, base: str, folder: Path, names: list[str]) -> None:
    """One final is retouched and approved on the phone; the other goes as it is."""
    retouched = folder / painter.retouched_name(names[0])
    retouched.write_bytes(painter.retouch((folder / "card" / names[0]).read_bytes()))
    studio.goto(base + "finals")
    studio.locator("#pick-files").set_input_files(str(retouched))
    expect(studio.locator("#reload")).to_be_visible(timeout=60_000)
    studio.goto(base + "finals")
    label = re.search(r"(\d+)\.", names[1]).group(1)  # type: ignore[union-attr]
    studio.get_by_role("checkbox", name=re.compile(label)).check()
    line.press(studio, "Deliver as it is")
    expect(studio.locator(".messages")).to_contain_text("goes out as it was taken")
    for _ in range(60):  # looked at, then sent: until its proof is made it cannot be ticked
        studio.goto(base + "finals/send")
        if studio.locator('input[name="version"]:enabled').count():
            break
        studio.wait_for_timeout(500)
    line.press(studio, "Send with one letter")
    finals = re.sub(r"/s/([^/]+)/.*", r"/s/\1/finals", phone.url)
    first = re.search(r"(\d+)\.", names[0]).group(1)  # type: ignore[union-attr]
    for _ in range(60):
        phone.goto(finals)
        phone.get_by_role("link", name=re.compile(first)).first.click()
        if phone.get_by_role("button", name=APPROVE).count():
            break
        phone.wait_for_timeout(500)
    phone.get_by_role("button", name=APPROVE).first.click()
    expect(phone.locator("main")).to_contain_text("version 1, approved")


def deliver(studio: Page, base: str) -> None:
    studio.goto(base + "delivery/licence")
    line.press(studio, "Write this licence")
    studio.goto(base + "finals")
    studio.locator(".finals-picture").first.click()
    studio.get_by_role("link", name="Crops", exact=True).click()
    adjust_a_crop(studio)
    line.prepare_and_send(studio, base, SIZES)


def adjust_a_crop(studio: Page) -> None:
    """By keyboard: the proposal one step to the left and kept; a reload shows the same numbers."""
    top = studio.locator("#n-y")
    expect(top).not_to_have_value("")  # the box stands in the page before the script that moves it has come
    before = top.input_value()
    studio.locator("#box").focus()
    studio.keyboard.press("ArrowDown" if before == "0" else "ArrowUp")
    expect(top).not_to_have_value(before)
    moved = top.input_value()
    line.press(studio, "Keep this crop")
    expect(studio.locator("#said")).to_contain_text("kept")
    studio.reload()
    expect(top).to_have_value(moved)


def check(archive: Path, names: list[str], folder: Path) -> None:
    subprocess.run(["unzip", "-tqq", str(archive)], check=True)
    out = folder / "out"
    with zipfile.ZipFile(archive) as packed:
        packed.extractall(out)
    pictures = sorted(path for path in out.rglob("*") if path.suffix in {".jpg", ".tif"})
    assert len(pictures) >= 2 * 2
    sums = next(path for path in out.rglob("*") if path.name.lower().startswith("sha256"))
    subprocess.run(["sha256sum", "-c", "--quiet", sums.name], cwd=sums.parent, check=True)
    others = {path.suffix for path in out.rglob("*") if path.is_file()} - {".jpg", ".tif"}
    assert {".pdf", ".txt", ".json"} <= others
    assert len({path.name for path in pictures}) == len(pictures)
    told = json.loads(subprocess.run(["exiftool", "-j", "-a", "-G1", "-struct", *map(str, pictures)],
                                     check=True, capture_output=True).stdout)  # fmt: skip
    sizes = set()
    for path, found in zip(pictures, told, strict=True):
        assert re.fullmatch(r"veld-ansa_[A-Za-z0-9_-]+\.(jpg|tif)", path.name), path.name
        picture = Image.open(io.BytesIO(path.read_bytes()))
        picture.load()
        sizes.add(picture.size)
        profile = ImageCms.getProfileDescription(ImageCms.ImageCmsProfile(io.BytesIO(picture.info["icc_profile"])))
        assert "sRGB" in profile
        assert found["XMP-dc:Creator"] in ("Tamsin Vale", ["Tamsin Vale"])
        assert found["IPTC:By-line"] in ("Tamsin Vale", ["Tamsin Vale"])
        assert found["XMP-dc:Rights"] == found["IPTC:CopyrightNotice"] == found["IFD0:Copyright"]
        assert found["XMP-xmpRights:UsageTerms"]
        assert found["XMP-iptcExt:PersonInImage"] in ("Ansa Veld", ["Ansa Veld"])
        assert not [name for name in found if "GPS" in name or "Serial" in name or "MakerNote" in name]
        assert hashlib.sha256(path.read_bytes()).hexdigest() in sums.read_text()
    assert {(2400, 3000), (1080, 1080)} & sizes or any(w > 2300 for w, _h in sizes)


def receipts(studio: Page, base: str) -> None:
    studio.goto(base + "delivery")
    expect(studio.locator("body")).to_contain_text("Ansa Veld")
    expect(studio.locator("body")).to_contain_text("Accepted by Ansa Veld")
