"""Stations of the whole job in a browser, the same whatever the site stands on."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from playwright.sync_api import Page, expect

from tests.services.site import Site


def photographer_link(site: Site) -> str:
    return site.python(
        "from django.contrib.auth.models import User\n"
        "from galleries.models import Studio\n"
        "from galleries.steps.people.invite import sign_in_link\n"
        "Studio.objects.update_or_create(pk=1, defaults={'name': 'Northlight Rooms', 'photographer': 'Tamsin Vale',"
        " 'email': 'tamsin@northlight.example', 'letters_from': 0, 'letters_until': 24})\n"
        "user = User.objects.create_user('tamsin', 'tamsin@northlight.example', first_name='Tamsin',"
        " last_name='Vale')\n"
        "print(sign_in_link(user=user))"
    )


def press(page: Page, name: str, **more: Any) -> None:
    page.get_by_role("button", name=name, **more).first.click()


def set_up(site: Site, studio: Page) -> str:
    studio.goto(photographer_link(site))
    press(studio, "Come in")
    studio.goto(site.env["PORTAL_URL"] + "/studio/sittings/new")
    studio.get_by_label("Title").fill("Ansa Veld, spring")
    studio.get_by_label("Subject's given name").fill("Ansa")
    studio.get_by_label("Subject's surname").fill("Veld")
    press(studio, "Set it up")
    studio.wait_for_url(re.compile(r"/studio/ansa-veld[^/]*/$"))
    return studio.url


def bring_in(studio: Page, base: str, card: Path, count: int, broken: str = "") -> None:
    """`broken`: the name of one that is no picture."""
    studio.goto(base + "upload")
    files = sorted(str(path) for path in card.iterdir())
    studio.locator("#pick-files").set_input_files(files)
    if broken:
        expect(studio.get_by_role("region", name="Not brought in")).to_contain_text(broken, timeout=60_000)
    expect(studio.locator("#frame-count")).to_have_text(str(count), timeout=60_000)
    # The worker makes the proofs; then they can be shown.
    for _ in range(120):
        studio.goto(base + "desk")
        if studio.locator("img").count() >= 1 and "being made" not in studio.content():
            break
        studio.wait_for_timeout(500)


def invite_one(studio: Page, base: str, role: str, name: str, email: str) -> None:
    studio.goto(base + "people")
    studio.get_by_label("Role").select_option(role)
    studio.get_by_label("Name").fill(name)
    studio.get_by_label("E-mail").fill(email)
    press(studio, "Invite", exact=True)
    expect(studio.get_by_role("article")).to_contain_text(email)


def come_in(page: Page, link: str, count: int) -> None:
    """By the link of a letter, onto the sheet with so many frames."""
    page.goto(link)
    page.get_by_role("button", name="Come in").click()
    expect(page).not_to_have_url(re.compile("/i/"))
    for _ in range(60):
        if page.locator("li.frame").count() == count:
            break
        page.wait_for_timeout(1000)
        page.reload()
    expect(page.locator("li.frame")).to_have_count(count)


def prepare_and_send(studio: Page, base: str, sizes: tuple[str, ...]) -> None:
    """A delivery in the sizes whose words hold one of these."""
    studio.goto(base + "delivery")
    for row in studio.locator("ul.sizes > li").all():
        words = row.inner_text().lower()
        row.locator('input[name="size"]').set_checked(any(word in words for word in sizes))
    press(studio, "Prepare the delivery")
    expect(studio.get_by_role("link", name=re.compile("^All files in one"))).to_be_visible(timeout=120_000)
    press(studio, "Looked at: send it")


def fetch(phone: Page, folder: Path) -> Path:
    phone.goto(re.sub(r"/s/([^/]+)/.*", r"/s/\1/delivery", phone.url))
    archive = phone.get_by_role("link", name=re.compile("^Fetch everything"))
    assert archive.count() == 0  # the licence comes first
    press(phone, "I accept")
    with phone.expect_download() as download:
        archive.click()
    target = folder / "archive.zip"
    download.value.save_as(target)
    address = archive.get_attribute("href")
    whole = target.read_bytes()
    cookies = "; ".join(f"{c['name']}={c['value']}" for c in phone.context.cookies())
    part = phone.request.get(
        re.match(r"https?://[^/]+", phone.url).group(0) + str(address),  # type: ignore[union-attr]
        headers={"Range": f"bytes={len(whole) // 2}-", "Cookie": cookies},
    )
    assert part.status == 206
    assert part.body() == whole[len(whole) // 2 :]
    return target
