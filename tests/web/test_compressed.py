"""What is sent compressed says the same, to whoever takes it. Formats: RFC 7932 (brotli), RFC 1952 (gzip); what a
browser takes: RFC 9110, 12.5.3. Unpacked by the libraries of the formats' authors."""

from __future__ import annotations

import gzip
import json

import brotli
import pytest
from django.http import HttpResponse
from django.test import RequestFactory
from django.urls import reverse

from galleries.web import compressed
from tests.cast import make_cast
from tests.web.invitee.sheets import filled

BODY = b"<p>A frame of the sheet, and another one.</p>" * 40
TAKEN = {
    "gzip, deflate, br, zstd": "br",
    "br": "br",
    "BR;q=1.0": "br",
    "gzip;q=0.5 , br ; q=0.001": "br",
    "gzip, br;q=0": "gzip",
    "gzip, br;q=0.000": "gzip",
    "gzip, brr": "gzip",
    "gzip": "gzip",
    "identity": None,
    "": None,
}


def sent(body: bytes, taken: str, **headers: str) -> HttpResponse:
    view = compressed.compressed_page(lambda _request: HttpResponse(body, headers=headers))
    answer = view(RequestFactory().get("/", headers={"accept-encoding": taken} if taken else {}))
    assert isinstance(answer, HttpResponse)
    return answer


def unpacked(answer: HttpResponse) -> bytes:
    by = {"br": brotli.decompress, "gzip": gzip.decompress, None: bytes}
    return bytes(by[answer.headers.get("Content-Encoding")](answer.content))


@pytest.mark.parametrize(("taken", "coding"), TAKEN.items())
def test_a_browser_gets_what_it_takes(taken: str, coding: str | None) -> None:
    answer = sent(BODY, taken)
    assert answer.headers.get("Content-Encoding") == coding
    assert unpacked(answer) == BODY
    assert (len(answer.content) < len(BODY)) == (coding is not None)
    assert answer.headers["Vary"] == "Accept-Encoding"
    assert answer.headers.get("Content-Length") == (str(len(answer.content)) if coding else None)


def test_what_is_short_or_packed_already_is_sent_as_it_is() -> None:
    for answer in (sent(b"short", "br, gzip"), sent(BODY, "br, gzip", **{"Content-Encoding": "zstd"})):
        assert answer.content in {b"short", BODY}
        assert answer.headers.get("Content-Encoding") in {None, "zstd"}


def test_its_length_tells_nothing_of_what_it_says() -> None:
    lengths = {len(sent(BODY, "br").content) for _time in range(400)}
    assert max(lengths) - min(lengths) >= 80
    assert len(lengths) >= 60


@pytest.mark.parametrize("many", [1, 2, 64, 65, 100, 255, 256])
def test_the_noise_is_skipped(many: int) -> None:
    compressor = brotli.Compressor()
    start = compressor.process(BODY) + compressor.flush()
    assert brotli.decompress(start + compressed._noise(many) + compressor.finish()) == BODY


@pytest.mark.django_db
def test_sheet_and_desk_say_the_same_by_every_way() -> None:
    cast = make_cast()
    filled(cast)
    for who, address in ((cast.subject, "sheet"), (cast.owner, "studio-desk-data")):
        client, at = cast.client_of(who), reverse(address, args=[cast.sitting.slug])
        codings = {}
        for taken in ("gzip, deflate, br, zstd", "gzip", "identity"):
            answer = client.get(at, headers={"accept-encoding": taken})
            assert answer.status_code == 200
            codings[answer.headers.get("Content-Encoding")] = text = unpacked(answer).decode()
            if address == "sheet":
                assert text.count('<li class="frame"') == 6
                assert text.rstrip().endswith("</html>")
            else:
                assert len(json.loads(text)["frames"]) == 6
        assert set(codings) == {"br", "gzip", None}
