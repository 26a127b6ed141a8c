"""The tracer on a portrait: unseen, put together without decoding, read from what a leak looks like."""

from __future__ import annotations

import io
from collections.abc import Callable

import cv2
import numpy as np
import pytest
import skimage
from PIL import Image

from galleries.imaging import tracer
from galleries.imaging.codes import Code
from galleries.imaging.errors import Unreadable, Unsupported
from galleries.imaging.output import encode
from tests.telling import refused, sentence_of

KEY, PAYLOAD = b"a frame's key", 0xCAFE0042


def _proof(flip: bool = False) -> bytes:
    """scikit-image's astronaut (NASA, public domain), enlarged, with grain and a drawn stamp."""
    path = f"{skimage.__path__[0]}/data/astronaut.png"
    with Image.open(path) as image:
        rgb = np.asarray(image.convert("RGB").resize((768, 768), Image.Resampling.BICUBIC))
    rgb = rgb[:, ::-1] if flip else rgb
    grainy = np.clip(rgb + np.random.default_rng(0).normal(0, 2, rgb.shape), 0, 255).astype(np.uint8)
    for y in range(100, 768, 170):
        cv2.putText(grainy, "STUDIO PROOF", (30, y), cv2.FONT_HERSHEY_SIMPLEX, 1.9, (230, 230, 230), 4)
    return encode.encode_jpeg(grainy, quality=82, ppi=96)


@pytest.fixture(scope="module")
def proof() -> bytes:
    return _proof()


@pytest.fixture(scope="module")
def prepared(proof: bytes) -> bytes:
    return tracer.prepare(proof, KEY)


@pytest.fixture(scope="module")
def copy(prepared: bytes) -> bytes:
    return tracer.embed(prepared, KEY, PAYLOAD)


def pixels(data: bytes) -> np.ndarray:
    return cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)


def jpeg(bgr: np.ndarray, quality: int) -> bytes:
    return cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, quality])[1].tobytes()


def half(bgr: np.ndarray) -> np.ndarray:
    return cv2.resize(bgr, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)


def crop(bgr: np.ndarray) -> np.ndarray:
    height, width = bgr.shape[:2]
    return bgr[height // 10 : height // 10 + height * 73 // 100, width // 10 : width // 10 + width * 73 // 100]


def turned(bgr: np.ndarray, degrees: float) -> np.ndarray:
    height, width = bgr.shape[:2]
    matrix = cv2.getRotationMatrix2D((width / 2, height / 2), degrees, 1)
    return cv2.warpAffine(bgr, matrix, (width, height), flags=cv2.INTER_CUBIC)


LEAKS: dict[str, Callable[[np.ndarray], bytes]] = {
    "quality 60": lambda a: jpeg(a, 60),
    "half size": lambda a: jpeg(half(a), 90),
    "crop": lambda a: jpeg(crop(a), 90),
    "half, crop, quality 60": lambda a: jpeg(half(crop(a)), 60),
    "turned by 3 degrees": lambda a: jpeg(turned(a, 3), 80),
    "mirrored": lambda a: jpeg(a[:, ::-1], 80),
    "black and white": lambda a: jpeg(cv2.cvtColor(a, cv2.COLOR_BGR2GRAY), 80),
    "a PNG screenshot with a border": lambda a: cv2.imencode(
        ".png", cv2.copyMakeBorder(a, 60, 30, 90, 10, cv2.BORDER_CONSTANT, value=(40, 40, 40))
    )[1].tobytes(),
}


@pytest.mark.parametrize("leak", LEAKS)
def test_a_leak_names_its_copy(leak: str, prepared: bytes, copy: bytes) -> None:
    result = tracer.find(LEAKS[leak](pixels(copy)), prepared, KEY)
    assert result.found
    assert [match.payload for match in result.matches] == [PAYLOAD]
    assert result.confidence > 0.999999
    assert str(PAYLOAD) in sentence_of(result.told)


def test_the_mark_is_not_seen(proof: bytes, copy: bytes) -> None:
    error = np.mean((pixels(proof).astype(float) - pixels(copy)) ** 2)
    assert 10 * np.log10(255**2 / error) >= 44


def test_the_copy_is_an_ordinary_jpeg_like_its_proof(proof: bytes, copy: bytes) -> None:
    with Image.open(io.BytesIO(proof)) as one, Image.open(io.BytesIO(copy)) as other:
        other.load()
        assert (one.size, one.mode, one.format) == (other.size, other.mode, other.format)
        assert one.info["icc_profile"] == other.info["icc_profile"]
        assert one.info["dpi"] == other.info["dpi"]
        assert one.quantization == other.quantization
    assert len(copy) < 1.15 * len(proof)


def test_the_same_input_gives_the_same_bytes(proof: bytes, prepared: bytes, copy: bytes) -> None:
    assert tracer.prepare(proof, KEY) == prepared
    assert tracer.embed(proof, KEY, PAYLOAD) == copy
    assert tracer.embed(prepared, KEY, PAYLOAD + 1) != copy
    assert tracer.is_prepared(prepared)
    assert not tracer.is_prepared(proof)
    assert tracer.find(copy, proof, KEY).payload == PAYLOAD, "the plain proof serves the reader as well"


def test_unmarked_and_foreign_pictures_are_not_found(proof: bytes, prepared: bytes, copy: bytes) -> None:
    assert not tracer.find(proof, prepared, KEY, range(100)).found
    assert tracer.find(proof, prepared, KEY).told.code == Code.TRACER_NO_MARK
    foreign = tracer.embed(proof, b"another key", PAYLOAD)
    assert not tracer.find(foreign, prepared, KEY, range(100)).found
    noise = np.random.default_rng(0).integers(0, 255, (600, 600, 3), dtype=np.uint8)
    for other in (jpeg(noise, 80), jpeg(np.full((50, 70, 3), 128, np.uint8), 80)):
        result = tracer.find(other, prepared, KEY)
        assert not result.found
        assert not result.aligned
        assert "no copy of that proof" in sentence_of(result.told)
    assert tracer.find(copy, prepared, KEY, [1, 2, 3]).payload == PAYLOAD, "the invites given do not mislead"


def test_two_colluding_invites_are_both_named(prepared: bytes, copy: bytes) -> None:
    second = tracer.embed(prepared, KEY, 7)
    mixed = (pixels(copy).astype(float) + pixels(second)) / 2
    result = tracer.find(jpeg(np.round(mixed).astype(np.uint8), 75), prepared, KEY)
    assert {match.payload for match in result.matches} == {PAYLOAD, 7}
    assert "mixed from 2 copies" in sentence_of(result.told)


@pytest.mark.parametrize("subsampling", ["444", "422", "420"])
@pytest.mark.parametrize("size", [(901, 677), (677, 901)])
def test_odd_sizes_and_samplings(subsampling: str, size: tuple[int, int], proof: bytes) -> None:
    rgb = cv2.resize(pixels(proof), size, interpolation=cv2.INTER_AREA)[..., ::-1]
    base = encode.encode_jpeg(np.ascontiguousarray(rgb), quality=85, subsampling=subsampling)
    marked = tracer.embed(base, KEY, 99)
    assert pixels(marked).shape == (*size[::-1], 3)
    assert tracer.find(jpeg(pixels(marked), 70), base, KEY).payload == 99


def test_what_cannot_carry_or_be_read_is_told(prepared: bytes) -> None:
    small = encode.encode_jpeg(np.zeros((200, 200, 3), np.uint8), quality=80)
    with refused(Unsupported, "too small"):
        tracer.prepare(small, KEY)
    with refused(Unsupported, "in colour"):
        tracer.prepare(jpeg(np.zeros((900, 900), np.uint8), 80), KEY)
    with pytest.raises(Unreadable):
        tracer.prepare(b"no picture", KEY)
    for nothing in (b"", b"no picture"):
        with refused(Unreadable, "cannot be opened"):
            tracer.find(nothing, prepared, KEY)
    with pytest.raises(ValueError, match="32 bits"):
        tracer.embed(prepared, KEY, 2**32)
