"""The grown way's proxy: deploy/grown/nginx.conf as it is, with only names, ports and folders put in.

What matters: no private byte leaves without the site's own check, whatever is asked for.
"""

from __future__ import annotations

import http.client
import json
import re
import socket
import ssl
import subprocess
import time
from collections.abc import Iterator

import pytest

from tests.servers import free_ports, listens, queue_server, running, wait_for
from tests.services.proxy import SESSION, Proxy, nginx_configuration
from tests.services.site import ROOT, Site

pytestmark = pytest.mark.services

MAKE = """
import hashlib, io, json, random
from PIL import Image
from django.utils import timezone
from galleries import storage
from galleries.models import Proof, Frame
from galleries.steps.people import invite as invites
from tests.cast import make_cast

def jpeg(name):
    # Too small to carry a person's mark: it is served as it is.
    out = io.BytesIO()
    Image.frombytes("RGB", (60, 60), random.Random(name).randbytes(60 * 60 * 3)).save(out, "JPEG", quality=95)
    return out.getvalue()

def picture(cast, number, hidden=False):
    look = cast.sitting.looks.first() or cast.look()
    found = {}
    for kind in ("proof", "small"):
        data = jpeg(f"{cast.sitting.slug} {number} {kind}")
        key = storage.derived_key(cast.sitting.uid, kind, hashlib.sha256(data).hexdigest())
        storage.put(storage.proofs(), key, data)
        found[kind] = (key, data.hex())
    original = hashlib.sha256(f"{cast.sitting.slug} {number}".encode()).digest() * 3000
    digest = hashlib.sha256(original).hexdigest()
    key = storage.original_key(cast.sitting.uid, digest, "JPEG")
    storage.put(storage.private(), key, original)
    frame = cast.frame(number, look, sha256=digest, key=key, hidden=hidden)
    row = Proof.objects.create(frame=frame, recipe="test", large_key=found["proof"][0], large_width=10,
        large_height=10, small_key=found["small"][0], small_width=5, small_height=5)
    return {"frame": frame.pk, "row": row.pk, "large": found["proof"], "small": found["small"],
            "original": [key, original.hex()]}

cast, other = make_cast(), make_cast("other-sitting")
print(json.dumps({
    "shown": picture(cast, 1), "hidden": picture(cast, 2, hidden=True), "other": picture(other, 1),
    "link": invites.new_link(cast.subject).split("portal.example", 1)[1],
    "revoked": invites.new_link(cast.representation).split("portal.example", 1)[1],
    "representation": cast.representation.pk,
}))
"""


@pytest.fixture(scope="module")
def proxy(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Proxy]:
    folder = tmp_path_factory.mktemp("nginx")
    home = folder / "site"
    home.mkdir()
    plain, port = free_ports(2)
    site = Site(
        home,
        PORTAL_URL="https://portal.example",
        PORTAL_HOSTS="portal.example",
        PORTAL_BEHIND_PROXY="yes",
        PORTAL_INTERNAL_REDIRECT="yes",
        PORTAL_DOOR_TRIES="5",
    )
    with queue_server(home):
        site.migrate()
        site.collect_static()
        made = json.loads(site.python(MAKE))
        subprocess.run(
            [str(ROOT / "deploy" / "set-certificate"), "portal.example"], env=site.env, check=True, capture_output=True
        )
        with site.web(folder / "web.sock"):
            conf = nginx_configuration(folder, plain, port)
            command = ["nginx", "-c", str(conf), "-p", str(folder), "-g", "daemon off;"]
            with running(command, "", lambda: listens(port), folder / "nginx.log"):
                yield Proxy(port, plain, site, made, folder)


def address(picture: dict[str, object], kind: str = "large") -> str:
    return f"/files/proof/{picture['frame']}/{kind}/{picture['row']}.jpg"


def test_plain_http_is_sent_to_https(proxy: Proxy) -> None:
    line = http.client.HTTPConnection("127.0.0.1", proxy.plain, timeout=10)
    line.request("GET", "/sign-in", headers={"Host": "portal.example"})
    answer = line.getresponse()
    assert (answer.status, answer.headers["Location"]) == (301, "https://portal.example/sign-in")
    line.close()


def test_a_certificate_authority_finds_its_answer_over_plain_http(proxy: Proxy) -> None:
    """RFC 8555, 8.3: by http, on port 80, the key authorization and nothing else; no redirect is needed."""
    place = proxy.folder / "acme" / ".well-known" / "acme-challenge"
    place.mkdir(parents=True)
    (place / "token-1").write_text("token-1.thumbprint")
    line = http.client.HTTPConnection("127.0.0.1", proxy.plain, timeout=10)
    line.request("GET", "/.well-known/acme-challenge/token-1", headers={"Host": "portal.example"})
    answer = line.getresponse()
    assert (answer.status, answer.read()) == (200, b"token-1.thumbprint")
    line.close()


def test_the_site_answers_through_it_and_believes_in_https(proxy: Proxy) -> None:
    status, headers, body = proxy.get("/health/ready")
    assert (status, json.loads(body)["database"]) == (200, True)
    assert "max-age=31536000" in headers["Strict-Transport-Security"]
    assert "nginx/" not in headers["Server"]


@pytest.mark.parametrize("kind", ["large", "small"])
def test_a_proof_leaves_by_internal_redirect_after_the_check(proxy: Proxy, kind: str) -> None:
    shown = proxy.things["shown"]
    cookie = proxy.come_in(proxy.things["link"])
    status, headers, body = proxy.get(address(shown, kind), cookie=cookie)
    assert status == 200
    assert body == bytes.fromhex(shown[kind][1])
    assert headers["Content-Type"] == "image/jpeg"
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert "noindex" in headers["X-Robots-Tag"]
    assert headers["Cache-Control"].startswith("private")
    assert headers["X-Accel-Redirect"] is None


def test_a_broken_download_is_resumed(proxy: Proxy) -> None:
    shown = proxy.things["shown"]
    data = bytes.fromhex(shown["large"][1])
    cookie = proxy.come_in(proxy.things["link"])
    _status, headers, _body = proxy.get(address(shown), cookie=cookie)
    ranged = {"Range": "bytes=1000-", "If-Range": headers["ETag"]}
    status, headers, body = proxy.get(address(shown), ranged, cookie=cookie)
    assert (status, body) == (206, data[1000:])
    assert headers["Content-Range"] == f"bytes 1000-{len(data) - 1}/{len(data)}"


def test_without_the_check_no_byte_leaves(proxy: Proxy) -> None:
    """No cookie, somebody else's sitting, a hidden frame, an original: refused by the site, so nothing is sent."""
    cookie = proxy.come_in(proxy.things["link"])
    shown, hidden, other = proxy.things["shown"], proxy.things["hidden"], proxy.things["other"]
    for path, who in (
        (address(shown), ""),
        (address(shown), f"{SESSION}=0123456789abcdef0123456789abcdef"),
        (address(hidden), cookie),
        (address(other), cookie),
        (f"/files/original/{shown['frame']}", cookie),
        (f"/files/original/{shown['frame']}", ""),
    ):
        status, _headers, body = proxy.get(path, cookie=who)
        assert status in {403, 404}, path
        for picture in (shown, hidden, other):
            for kind in ("large", "small", "original"):
                assert bytes.fromhex(picture[kind][1])[:64] not in body, path


def test_after_revocation_the_next_request_gets_nothing(proxy: Proxy) -> None:
    shown = proxy.things["shown"]
    cookie = proxy.come_in(proxy.things["revoked"])
    assert proxy.get(address(shown), cookie=cookie)[0] == 200
    proxy.site.python(
        "from django.utils import timezone\nfrom galleries.models import Invite\n"
        f"Invite.objects.filter(pk={proxy.things['representation']}).update(revoked_at=timezone.now())"
    )
    status, _headers, body = proxy.get(address(shown), cookie=cookie)
    assert status in {403, 404}
    assert bytes.fromhex(shown["large"][1])[:64] not in body


@pytest.mark.parametrize(
    "shape",
    [
        "/internal/{store}/{key}",
        "//internal/{store}/{key}",
        "/internal//{store}/{key}",
        "/internal/./{store}/{key}",
        "/static/../internal/{store}/{key}",
        "/static/%2e%2e/internal/{store}/{key}",
        "/internal%2f{store}%2f{key}",
        "/static/..%2ffiles/{store}/{key}",
        "/static../files/{store}/{key}",
        "/static/%2e%2e/files/{store}/{key}",
    ],
)
def test_the_internal_addresses_are_closed_from_outside(proxy: Proxy, shape: str) -> None:
    cookie = proxy.come_in(proxy.things["link"])
    for store, kind in (("proofs", "large"), ("private", "original")):
        key, data = proxy.things["shown"][kind]
        status, _headers, body = proxy.get(
            shape.format(store=store, key=key), {"X-Accel-Redirect": f"/internal/{store}/{key}"}, cookie=cookie
        )
        assert status in {400, 404}, shape
        assert bytes.fromhex(data)[:64] not in body


def test_a_claimed_sender_does_not_open_the_door_again(proxy: Proxy) -> None:
    """Guessing links with a new X-Forwarded-For each time is still one sender: six tries, five answered 404."""
    seen = [proxy.get(f"/i/guess-{place}", {"X-Forwarded-For": f"198.51.100.{place}"})[0] for place in range(8)]
    assert seen[0] == 404
    assert seen[-1] == 429


def test_a_body_over_the_limit_is_refused_before_it_is_sent(proxy: Proxy) -> None:
    status, _headers, _body = proxy.get("/sign-in", {"Content-Length": str(400 * 1024 * 1024)}, method="POST")
    assert status == 413


def test_slow_senders_do_not_hold_the_site(proxy: Proxy) -> None:
    """Two hundred half-sent forms from strangers with a form's cookie, of five addresses: it still answers. Wanted
    are 1 s for the health and 2 s for a page; what it took is printed, since a busy machine says little of the site."""
    context = ssl._create_unverified_context()  # noqa: S323 - our own server; nothing secret is sent
    lines = []
    head = (
        b"POST /leave HTTP/1.1\r\nHost: portal.example\r\nCookie: __Host-portal_form=" + b"a" * 32 + b"\r\n"
        b"Referer: https://portal.example/\r\nContent-Type: application/x-www-form-urlencoded\r\n"
        b"Content-Length: 1000\r\n\r\nname=slow"
    )
    try:
        for number in range(200):
            sender = (f"127.0.0.{2 + number % 5}", 0)
            line = socket.create_connection(("127.0.0.1", proxy.port), timeout=30, source_address=sender)
            lines.append(context.wrap_socket(line))
            lines[-1].sendall(head)
        for path in ("/health/live", "/sign-in"):
            started = time.monotonic()
            assert proxy.get(path)[0] == 200
            print(f"{path} with 200 slow senders before it: {time.monotonic() - started:.2f} s")
    finally:
        for line in lines:
            line.close()


def test_only_frames_may_be_large(proxy: Proxy) -> None:
    length = {"Content-Length": str(40 * 1024 * 1024)}
    for path, want in (("/sign-in", 413), ("/studio/ansa-veld/finals/file/more", 413)):
        assert proxy.get(path, length, method="POST")[0] == want
    # Let through to the site, which wants to know who it is first and does not wait for the body.
    status, _headers, body = proxy.get("/studio/ansa-veld/upload/file", length, method="PUT")
    assert status in {302, 403, 413}, status
    assert b"nginx" not in body


def test_hashed_static_files_are_kept_for_good_and_the_rest_asked_for_again(proxy: Proxy) -> None:
    names = json.loads((proxy.folder / "site" / "static" / "staticfiles.json").read_text())["paths"]
    plain, hashed = next((old, new) for old, new in names.items() if new.endswith(".css"))
    status, headers, body = proxy.get(f"/static/{hashed}")
    assert (status, headers["Cache-Control"]) == (200, "public, max-age=31536000, immutable")
    assert body
    status, headers, _body = proxy.get(f"/static/{plain}")
    assert (status, headers["Cache-Control"]) == (200, "no-cache")


def test_no_secret_of_a_link_and_no_name_of_a_sitting_is_written_down(proxy: Proxy) -> None:
    """Nor in a log of errors: the first web set's socket is away, which nginx would tell of with each address."""
    proxy.come_in(proxy.things["link"])
    log = proxy.folder / "portal.log"
    wait_for(lambda: "/i/-" in log.read_text(), "the request is not in the log")
    every = {path.name: path.read_text() for path in proxy.folder.glob("*.log")}
    assert {"portal.log", "portal-error.log", "error.log"} <= set(every)
    for name, text in every.items():
        assert proxy.things["link"].removeprefix("/i/") not in text, name
        assert "request: " not in text, name  # nginx quotes the whole line there
    assert not re.search(r" /(s|studio)/(?!-|sizes|sittings)[^ \"]", log.read_text())
