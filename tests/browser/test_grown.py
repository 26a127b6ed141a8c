"""The grown way whole: PostgreSQL, Redis, an S3-compatible store, nginx and SMTP, each started here."""

from __future__ import annotations

import hashlib
import http.client
import io
import json
import re
import ssl
import subprocess
import urllib.error
import urllib.request
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from playwright.sync_api import Browser, Page, expect

from tests.browser import line
from tests.browser.conftest import DESK, PHONE
from tests.browser.studio_stage import jpeg
from tests.pictures import put_card
from tests.servers import wait_for
from tests.services.grown import Grown, grown_site
from tests.services.proxy import FORM, SESSION
from tests.web.invitee import sheets

pytestmark = [pytest.mark.browser, pytest.mark.timeout(600)]

LARGE = 250_000_000
# Two sittings with an original of 250 MB in the bucket, one frame whose file is lost, and a link for each person.
FILL = """
import hashlib, json, sys
from django.core.files.base import File
from galleries import storage
from galleries.steps.people import invite as invites
from tests.cast import make_cast

cast, other = make_cast(), make_cast("other-sitting")
path, digest = {path!r}, {digest!r}
key = storage.original_key(cast.sitting.uid, digest, "JPEG")
with open(path, "rb") as file:
    storage.put(storage.private(), key, file)
frame = cast.frame(1, cast.look(), sha256=digest, key=key)
lost = cast.frame(2, frame.look)
link = lambda token: token.split("localhost", 1)[1].partition("/")[2]
print(json.dumps({{
    "frame": frame.pk, "lost": lost.pk, "key": key, "signed": storage.private().url(key),
    "owner": link(invites.sign_in_link(user=cast.owner)),
    "foreign": link(invites.sign_in_link(user=other.owner)),
    "subject": link(invites.new_link(cast.subject)),
}}))
"""


@pytest.fixture(scope="module")
def grown(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Grown]:
    with grown_site(tmp_path_factory.mktemp("grown")) as site:
        yield site


def most_memory(pid: int) -> int:
    """The most bytes that this process and its children ever held, together."""
    children = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    (line,) = [row for row in Path(f"/proc/{pid}/status").read_text().splitlines() if row.startswith("VmHWM")]
    return int(line.split()[1]) * 1024 + sum(most_memory(int(child)) for child in children)


def digest_of(grown: Grown, path: str, cookie: str) -> tuple[str, http.client.HTTPMessage]:
    """Read as it comes: no file of this size stands whole in this process either."""
    context = ssl._create_unverified_context()  # noqa: S323 - our own server
    line = http.client.HTTPSConnection("127.0.0.1", grown.port, timeout=60, context=context)
    line.request("GET", path, headers={"Host": "localhost", "Cookie": cookie})
    answer, digest = line.getresponse(), hashlib.sha256()
    assert answer.status == 200
    while piece := answer.read(1 << 20):
        digest.update(piece)
    line.close()
    return digest.hexdigest(), answer.headers


def test_a_file_of_250_mb_leaves_the_bucket_by_the_proxy_after_the_check(grown: Grown, tmp_path: Path) -> None:
    piece = hashlib.sha256(b"large").digest() * 31_250  # one million bytes
    path = tmp_path / "large"
    with open(path, "wb") as out:
        for number in range(LARGE // len(piece)):
            out.write(number.to_bytes(4, "big") + piece[4:])
    digest = hashlib.file_digest(open(path, "rb"), "sha256").hexdigest()  # noqa: SIM115 - closed at once
    things: dict[str, Any] = json.loads(grown.site.python(FILL.format(path=str(path), digest=digest)))
    owner, foreign, subject = (grown.come_in("/" + things[who]) for who in ("owner", "foreign", "subject"))
    at = f"/files/original/{things['frame']}"

    # Somebody else: the site says no, so that nothing is sent.
    for cookie in ("", f"{SESSION}=0123456789abcdef0123456789abcdef", foreign, subject):
        assert grown.get(at, cookie=cookie)[0] == 404
    # Nor does anybody reach the store by the proxy's own address of it.
    signature = things["signed"].partition("?")[2]
    for inside in (f"/internal/bucket/originals/{things['key']}?{signature}", f"/internal/bucket/{things['key']}"):
        assert grown.get(inside, cookie=owner)[0] == 404

    # A first small answer sets the client of the store up; from then on nothing grows.
    tenth = {"Range": "bytes=100000000-100000099"}
    status, headers, body = grown.get(at, tenth, cookie=owner)
    assert (status, body) == (206, piece[:100].replace(piece[:4], (100).to_bytes(4, "big"), 1))
    assert headers["Content-Range"] == f"bytes 100000000-100000099/{LARGE}"
    before = most_memory(grown.web.process.pid)
    fetched, headers = digest_of(grown, at, owner)
    assert fetched == digest
    assert most_memory(grown.web.process.pid) - before < 10_000_000
    assert (headers["Content-Type"], headers["ETag"]) == ("application/octet-stream", f'"{digest}"')
    assert headers.get_all("Cache-Control") == ["private, no-store"]
    assert headers.get_all("Accept-Ranges") == ["bytes"]
    assert "KAL_0001.JPG" in headers["Content-Disposition"]
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert not [name for name in headers if name.lower().startswith(("x-amz", "x-accel", "x-store"))]

    # RFC 9110: a condition on the part, one on the whole, what cannot be satisfied, and a question without an answer.
    same, another = f'"{digest}"', '"another"'
    assert grown.get(at, tenth | {"If-Range": same}, cookie=owner)[0] == 206
    assert grown.get(at, tenth | {"If-Range": another}, "HEAD", cookie=owner)[0] == 200
    assert grown.get(at, {"If-None-Match": same}, cookie=owner)[0] == 304
    assert grown.get(at, {"Range": f"bytes={LARGE}-"}, cookie=owner)[0] == 416
    status, headers, _body = grown.get(at, method="HEAD", cookie=owner)
    assert (status, headers["Content-Length"]) == (200, str(LARGE))

    # Nothing else of the visitor's goes to the store, which listens to a condition that the site has no ear for.
    condition = {"If-Match": another}
    with pytest.raises(urllib.error.HTTPError, match="412"):
        urllib.request.urlopen(urllib.request.Request(things["signed"], headers=condition), timeout=20)
    assert grown.get(at, tenth | condition, cookie=owner)[0] == 206

    # A file that the store lost: no word of the store's, and nothing that a browser would keep.
    status, headers, body = grown.get(f"/files/original/{things['lost']}", cookie=owner)
    assert (status, b"<Code>" in body) == (404, False)
    assert any("no-store" in line for line in headers.get_all("Cache-Control", []))
    for log in grown.folder.glob("*.log"):
        assert "X-Amz" not in log.read_text(errors="replace"), log.name


# Two sittings whose people have links; the colleague is let into the first.
PEOPLE = """
import json
from galleries.steps.people import invite as invites
from tests.cast import make_cast

cast, other = make_cast("by-parts"), make_cast("by-parts-other")
cast.sitting.colleagues.add(cast.colleague)
link = lambda token: token.split("localhost", 1)[1].partition("/")[2]
print(json.dumps({
    "owner": link(invites.sign_in_link(user=cast.owner)), "colleague": link(invites.sign_in_link(user=cast.colleague)),
    "foreign": link(invites.sign_in_link(user=other.owner)), "subject": link(invites.new_link(cast.subject)),
}))
"""
WORK = """
from galleries.steps import jobs
import galleries.tasks
jobs.run_waiting(kinds=["arrival"])
"""
LEFT = """
from galleries import storage
store = storage.private()
print(len(list(store.keys("arriving"))), len(list(store.unfinished("arriving/"))))
"""
DAY_LATER = """
from datetime import timedelta
from django.db.models import F
from galleries.models import Arrival
from galleries.steps import arrivals
Arrival.objects.update(created_at=F("created_at") - timedelta(days=1))
print(arrivals.sweep(), Arrival.objects.count())
"""
AT = "/studio/by-parts/upload/parts"
PART = 16 << 20


class Sender:
    """Somebody who sends parts, as the page does."""

    def __init__(self, grown: Grown, cookie: str, at: str = AT) -> None:
        self.grown, self.cookie, self.at = grown, cookie, at

    def ask(
        self, path: str, body: bytes | dict[str, Any] | None = None, method: str = "POST", token: str = "a" * 32
    ) -> tuple[int, Any, http.client.HTTPMessage]:
        context = ssl._create_unverified_context()  # noqa: S323 - our own server
        line = http.client.HTTPSConnection("127.0.0.1", self.grown.port, timeout=60, context=context)
        head = {"Host": "localhost", "Cookie": f"{FORM}={'a' * 32}; {self.cookie}", "X-CSRFToken": token}
        head |= {"Accept": "application/json", "Referer": self.grown.site.env["PORTAL_URL"] + "/"}
        head["Content-Type"] = "application/json" if isinstance(body, dict) else "application/octet-stream"
        line.request(method, path, json.dumps(body) if isinstance(body, dict) else body, head)
        answer = line.getresponse()
        read, headers = answer.read(), answer.headers
        line.close()
        is_json = headers.get("Content-Type", "").startswith("application/json")
        return answer.status, json.loads(read) if is_json else read, headers

    def begin(self, name: str, data: bytes, sha256: str = "") -> tuple[int, Any]:
        question = {"name": name, "sha256": sha256 or hashlib.sha256(data).hexdigest(), "bytes": len(data)}
        return self.ask(self.at, question)[:2]

    def part(self, file: int, number: int, data: bytes, **how: str) -> int:
        return self.ask(f"{self.at}/{file}/{number}", data, how.pop("method", "PUT"), **how)[0]

    def whole(self, name: str, data: bytes, sha256: str = "") -> dict[str, str]:
        """Sent, joined, looked at; what became of it."""
        _status, begun = self.begin(name, data, sha256)
        assert self.part(begun["file"], 1, data) == 200
        assert self.ask(f"{self.at}/{begun['file']}", {})[0] == 202
        self.grown.site.python(WORK)
        outcome: dict[str, str] = self.ask(f"{self.at}?of={begun['file']}", method="GET")[1]["files"][
            str(begun["file"])
        ]
        return outcome


def test_frames_come_in_by_parts_past_the_web_process(grown: Grown) -> None:
    """250 MB: parts of 16 MiB, the least that S3's API takes is 5 (Amazon S3 User Guide, multipart upload limits)."""
    links = json.loads(grown.site.python(PEOPLE))
    owner, colleague, foreign, subject = (
        Sender(grown, grown.come_in("/" + links[who])) for who in ("owner", "colleague", "foreign", "subject")
    )
    piece = hashlib.sha256(b"parts").digest() * (PART // 32)
    parts = [number.to_bytes(4, "big") + piece[4:] for number in range(14)] + [piece[: LARGE - 14 * PART]]
    digest = hashlib.sha256(b"".join(parts)).hexdigest()
    question = {"name": "KAL_0250.TIF", "sha256": digest, "bytes": LARGE}
    for sender in (Sender(grown, ""), foreign, subject):
        assert sender.ask(AT, question)[0] in {403, 404}
    assert owner.ask(AT, question | {"bytes": 300_000_001})[0] == 400
    assert owner.ask(AT, question, token="b" * 32)[0] == 403

    status, begun, _headers = owner.ask(AT, question)
    assert (status, begun["part_bytes"], begun["there"]) == (200, PART, [])
    file = begun["file"]
    # Somebody else, somebody without the form's token, another length, another part, another way.
    for sender in (Sender(grown, ""), foreign, subject, colleague):
        assert sender.part(file, 1, parts[0]) == 403
    assert owner.part(file, 1, parts[0], token="b" * 32) == 403
    for number, data in ((1, parts[0][1:]), (0, parts[0]), (16, parts[0]), (15, parts[0])):
        assert owner.part(file, number, data) == 403
    assert owner.part(file, 1, parts[0] + bytes(2 << 20)) == 413
    assert owner.part(file, 1, b"", method="POST") == 405
    for inside in ("/internal/part", f"/internal/bucket/originals/arriving/{file}"):
        assert owner.ask(inside)[0] in {403, 404}
    assert owner.ask(f"{AT}/{file}", {})[0] == 409

    before = most_memory(grown.web.process.pid)
    for number, data in enumerate(parts[:9], 1):
        status, body, headers = owner.ask(f"{AT}/{file}/{number}", data, "PUT")
        assert (status, body) == (200, b"")
    assert not [name for name in headers if name.lower().startswith(("x-amz", "x-accel", "x-store", "etag"))]
    # Broken off; what is there is not sent again.
    assert owner.ask(AT, question)[1] == {"file": file, "part_bytes": PART, "there": list(range(1, 10))}
    for number, data in enumerate(parts[9:], 10):
        assert owner.part(file, number, data) == 200
    status, answer, _headers = owner.ask(f"{AT}/{file}", {})
    assert (status, answer) == (202, {"file": file, "state": "arrived"})
    assert owner.ask(f"{AT}/{file}", {})[0] == 202
    assert most_memory(grown.web.process.pid) - before < 10_000_000
    assert owner.part(file, 1, parts[0]) == 403, "what is whole takes no more"

    # Nothing is a frame before the worker has read it: no picture, so it is refused by name, and nothing of it stays.
    grown.site.python(WORK)
    (told,) = owner.ask(f"{AT}?of={file}", method="GET")[1]["files"].values()
    assert (told["state"], "JPEG" in told["reason"]) == ("refused", True)
    assert owner.ask("/studio/by-parts/upload/refused", method="GET")[1] == {
        "refused": [{"name": "KAL_0250.TIF", "reason": told["reason"]}], "frames": 0,
    }  # fmt: skip
    picture = jpeg(40, (640, 960))
    told = owner.whole("KAL_0002.JPG", picture, sha256="c" * 64)
    assert (told["state"], "damaged" in told["reason"]) == ("refused", True)
    assert owner.whole("KAL_0001.JPG", picture) == {"state": "new", "reason": ""}
    assert owner.whole("COPY.JPG", picture) == {"state": "same", "reason": ""}
    assert owner.ask("/studio/by-parts/upload/refused", method="GET")[1]["frames"] == 1
    assert grown.site.python(LEFT) == "0 0"

    # Whoever is let go of sends not one part more; what they began is broken off after a day.
    _status, begun = colleague.begin("KAL_0003.JPG", parts[0])
    grown.site.python("from galleries.models import Sitting\nSitting.objects.get(slug='by-parts').colleagues.clear()")
    assert colleague.part(begun["file"], 1, parts[0]) == 403
    assert grown.site.python(LEFT) == "0 1"
    assert grown.site.python(DAY_LATER) == "1 0"
    assert grown.site.python(LEFT) == "0 0"
    for log in grown.folder.glob("*.log"):
        assert "X-Amz" not in log.read_text(errors="replace"), log.name


# Two finals on a closed list; two retouchers, and somebody else's sitting.
FINISHING = """
import json
from django.utils import timezone
from galleries import storage
from galleries.steps.people import invite as invites
from tests.cast import make_cast
from tests.web.invitee.sheets import picture, proved

cast, other = make_cast("retouched", stage="finishing"), make_cast("retouched-other", stage="finishing")
cast.sitting.rounds.update(closed_at=timezone.now())
for number in (1, 2):
    data = picture(600, 900, 100 + 40 * number)
    frame = proved(cast, number, bytes=len(data), width=600, height=900)
    storage.put(storage.private(), frame.key, data)
    cast.sitting.finals.create(frame=frame, round=cast.sitting.rounds.get(), state="agreed", position=number)
link = lambda token: token.split("localhost", 1)[1].partition("/")[2]
odile, jonne = cast.retoucher(), cast.retoucher_beside()
print(json.dumps({
    "owner": link(invites.sign_in_link(user=cast.owner)), "foreign": link(invites.sign_in_link(user=other.owner)),
    "odile": link(invites.new_link(odile)), "jonne": link(invites.new_link(jonne)),
    "subject": link(invites.new_link(cast.subject)), "elsewhere": link(invites.new_link(other.retoucher())),
}))
"""
ENDED = """
from galleries.access import Visitor
from galleries.models import Invite
from galleries.steps.people import invite as invites
odile = Invite.objects.get(sitting__slug="retouched", name="Odile Brandt")
invites.revoke(odile, Visitor(user=odile.sitting.photographer))
"""
KEPT = """
from galleries.models import Arrival, Version
mine = Version.objects.filter(final__sitting__slug="retouched").order_by("pk")
print(*(f"{one.final.frame.number}{one.invite.name[0] if one.invite else '-'}" for one in mine),
      Arrival.objects.get(sitting__slug="retouched", name="KAL_0001_v3.jpg").reason)
"""
OF_STUDIO, OF_RETOUCHER = "/studio/retouched/finals/parts", "/s/retouched/retouch/parts"


def retouched(number: int, quality: int) -> bytes:
    out = io.BytesIO()
    Image.open(io.BytesIO(sheets.picture(600, 900, 100 + 40 * number))).save(out, "JPEG", quality=quality)
    return out.getvalue()


def test_retouches_come_in_by_parts_of_the_studio_and_of_a_retoucher_while_their_invite_holds(grown: Grown) -> None:
    links = json.loads(grown.site.python(FINISHING))
    cookies = {who: grown.come_in("/" + link) for who, link in links.items()}
    owner = Sender(grown, cookies["owner"], OF_STUDIO)
    odile, jonne = (Sender(grown, cookies[who], OF_RETOUCHER) for who in ("odile", "jonne"))
    first = retouched(1, 90)
    for who in ("", "foreign", "subject", "odile"):
        assert Sender(grown, cookies.get(who, ""), OF_STUDIO).begin("KAL_0001.jpg", first)[0] in {302, 403, 404}, who
    for who in ("", "foreign", "subject", "elsewhere"):
        assert Sender(grown, cookies.get(who, ""), OF_RETOUCHER).begin("KAL_0001.jpg", first)[0] in {302, 403, 404}, who

    # The door to one is none to the other, nor to a frame, nor to anybody else.
    status, begun = odile.begin("KAL_0001_v1.jpg", first)
    assert (status, begun["there"]) == (200, [])
    file = begun["file"]
    strangers = [Sender(grown, cookies.get(who, ""), OF_RETOUCHER) for who in ("", "foreign", "subject", "elsewhere")]
    strangers += [jonne, owner, Sender(grown, cookies["owner"], "/studio/retouched/upload/parts")]
    for sender in strangers:
        assert sender.part(file, 1, first) == 403
        assert sender.ask(f"{sender.at}/{file}", {})[0] in {302, 403, 404}
        status, told, _headers = sender.ask(f"{sender.at}?of={file}", method="GET")
        assert status in {302, 403, 404} or told == {"files": {}}
    assert odile.part(file, 1, first, token="b" * 32) == 403
    assert odile.part(file, 1, first) == 200
    assert odile.ask(f"{odile.at}/{file}", {})[0] == 202
    grown.site.python(WORK)
    (told,) = odile.ask(f"{odile.at}?of={file}", method="GET")[1]["files"].values()
    assert told["state"] == "new", told

    # By whoever sends it: matched, here already, another than announced, no picture of this list.
    assert owner.whole("KAL_0002_v1.jpg", retouched(2, 88))["state"] == "new"
    assert owner.whole("KAL_0002_v1.jpg", retouched(2, 88))["state"] == "same"
    told = owner.whole("KAL_0002_v2.jpg", retouched(2, 80), sha256="c" * 64)
    assert (told["state"], "damaged" in told["reason"]) == ("refused", True)
    stray = jonne.whole("somewhere.jpg", jpeg(40, (640, 960)))
    assert stray == {"state": "stray", "reason": "it says which final this is of"}
    page = grown.get("/studio/retouched/finals", cookie=cookies["owner"])[2].decode()
    assert page.count("KAL_0002_v2.jpg</b>: “KAL_0002_v2.jpg” arrived damaged") == 1
    assert "KAL_0002_v2.jpg" not in grown.get("/s/retouched/retouch", cookie=cookies["odile"])[2].decode()

    # The invite ends between two parts, and between the last part and the worker's look.
    whole, half = odile.begin("KAL_0001_v3.jpg", retouched(1, 70))[1]["file"], bytes(PART + 1)
    assert odile.part(whole, 1, retouched(1, 70)) == 200
    assert odile.ask(f"{odile.at}/{whole}", {})[0] == 202
    begun = odile.begin("KAL_0001_v4.jpg", half)[1]["file"]
    assert odile.part(begun, 1, half[:PART]) == 200
    grown.site.python(ENDED)
    assert odile.part(begun, 2, half[PART:]) == 403
    assert odile.ask(f"{odile.at}/{begun}", {})[0] in {302, 403, 404}
    assert odile.begin("KAL_0001_v5.jpg", first)[0] in {302, 403, 404}
    grown.site.python(WORK)
    assert grown.site.python(KEPT) == "1O 2- There is no such sitting, or your link does not lead to it."
    assert grown.site.python(LEFT) == "0 1"
    assert grown.site.python(DAY_LATER) == "1 0"
    assert grown.site.python(LEFT) == "0 0"
    for log in grown.folder.glob("*.log"):
        assert "X-Amz" not in log.read_text(errors="replace"), log.name


SUBJECT = ("subject", "Ansa Veld", "ansa@line.example")  # to whom no letter of another test goes


def test_the_line_from_a_card_to_a_fetched_delivery(grown: Grown, browser: Browser, tmp_path: Path) -> None:
    """Shorter than in the embedded way (test_whole_line.py), over the same stations."""
    put_card(tmp_path / "card", 2, 1800)
    known = {"locale": "en-GB", "accept_downloads": True, "ignore_https_errors": True}  # a certificate of its own
    contexts = browser.new_context(**DESK, **known), browser.new_context(**PHONE, **known)
    try:
        studio, phone = (context.new_page() for context in contexts)
        for page in (studio, phone):
            page.set_default_timeout(30_000)
        with grown.site.worker("-B", "--concurrency", "2"):
            base = line.set_up(grown.site, studio)
            before = (grown.folder / "portal.log").read_text()
            line.bring_in(studio, base, tmp_path / "card", 2)
            log = (grown.folder / "portal.log").read_text().removeprefix(before)
            assert (log.count('"PUT /studio/-/upload/parts/'), log.count("/upload/file")) == (2, 0)
            studio.goto(base)
            line.press(studio, "Show the proofs")
            line.invite_one(studio, base, *SUBJECT)
            line.come_in(phone, link_to(grown, SUBJECT[2]), 2)
            phone.locator("li.frame button.pick").first.tap()
            expect(phone.locator("#sending")).to_have_text("Everything is sent.")
            agree(studio, base)
            line.prepare_and_send(studio, base, ("square",))
            archive = line.fetch(phone, tmp_path)
    finally:
        for context in contexts:
            context.close()
    subprocess.run(["unzip", "-tqq", str(archive)], check=True)
    with zipfile.ZipFile(archive) as packed:
        packed.extractall(tmp_path / "out")
    (sums,) = (path for path in (tmp_path / "out").rglob("*") if path.name.lower().startswith("sha256"))
    subprocess.run(["sha256sum", "-c", "--quiet", sums.name], cwd=sums.parent, check=True)
    pictures = list((tmp_path / "out").rglob("*.jpg"))
    assert len(pictures) == 2  # the square sizes of two uses
    for picture in pictures:
        with Image.open(picture) as opened:
            assert opened.width == opened.height >= 1000
    # Nothing of it lies on a disk of the site's.
    kept = [path for path in grown.site.home.rglob("*") if path.suffix in {".jpg", ".zip", ".part"}]
    assert not [path for path in kept if "static" not in path.parts]


def link_to(grown: Grown, person: str) -> str:
    """The link of the newest letter to somebody, as it came by SMTP."""
    links: list[str] = []

    def there() -> bool:
        for to, text in list(grown.postbox.letters):
            if to == person:
                links.extend(re.findall(r"https://localhost:\d+/i/[\w-]+", text))
        return bool(links)

    wait_for(there, f"no letter to {person}")
    return links[-1]


def agree(studio: Page, base: str) -> None:
    """The list is closed with what was picked, and goes out as it was taken, under a licence."""
    studio.goto(base + "lists")
    expect(studio.locator('input[name="frame"]').first).to_be_checked()
    line.press(studio, "Close the list")
    expect(studio.get_by_role("heading", name="The closed list: 1 frame")).to_be_visible()
    studio.goto(base + "finals")
    studio.locator('input[type="checkbox"]').first.check()
    line.press(studio, "Deliver as it is")
    expect(studio.locator(".messages")).to_contain_text("goes out as it was taken")
    studio.goto(base + "delivery/licence")
    line.press(studio, "Write this licence")
