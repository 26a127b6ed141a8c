"""A JPEG's own planes: the decoder's own picture, and refused wherever its RGB is."""

from __future__ import annotations

import io
import subprocess

import numpy as np
import pytest
import simplejpeg
from PIL import Image

from galleries.imaging import errors
from galleries.imaging.colour.planes import to_rgb
from galleries.imaging.containers import jpeg
from galleries.imaging.opening import decode, jpeg_planes
from galleries.imaging.opening.picture import Limits, Stored, StoredPlanes
from tests.imaging.core_pictures import broken_files, exif, files, painted, saved


def _planes(data: bytes, at_least: int | None = None) -> StoredPlanes:
    stored = decode.open_planes(data, at_least=at_least)
    assert isinstance(stored, StoredPlanes)
    return stored


def _sampled(subsampling: str, width: int, height: int) -> bytes:
    return simplejpeg.encode_jpeg(painted(width, height), 95, "RGB", subsampling, False)


@pytest.mark.parametrize("subsampling", ["420", "422", "444", "440"])
@pytest.mark.parametrize("size", [(320, 240), (321, 239)])
@pytest.mark.parametrize("at_least", [None, 100])
def test_rgb_of_the_planes_is_that_of_the_decoder(
    subsampling: str, size: tuple[int, int], at_least: int | None
) -> None:
    data = _sampled(subsampling, *size)
    stored, rgb = _planes(data, at_least), decode.open_stored(data, at_least=at_least)
    assert stored.scale == rgb.scale == (0.5 if at_least else 1)
    ours, theirs = to_rgb(stored.planes).astype(int), rgb.pixels.astype(int)
    assert ours.shape == theirs.shape
    far = np.abs(ours - theirs)
    assert far.mean() < 0.7
    assert np.percentile(far, 95) <= 2  # at the disc's edge colour is decoded finer for RGB than it has samples
    assert (stored.facts, stored.profile) == (rgb.facts, rgb.profile)


@pytest.mark.parametrize(
    "options", [{"progressive": True}, {"restart_marker_blocks": 4}, {"optimize": True}], ids=lambda o: next(iter(o))
)
def test_every_way_of_writing_them_is_read(options: dict[str, int]) -> None:
    data = saved(painted(), quality=95, **options)
    assert np.array_equal(_planes(data).planes.luma, _planes(saved(painted(), quality=95)).planes.luma)


def test_what_has_no_such_planes_is_opened_as_rgb() -> None:
    picture = painted()
    for data in (
        saved(picture, mode="L"), saved(picture, mode="CMYK"), saved(picture, "PNG"), saved(picture, "TIFF"),
        saved(picture, quality=95, keep_rgb=True), simplejpeg.encode_jpeg(picture, 95, "RGB", "411", False),
    ):  # fmt: skip
        stored, rgb = decode.open_planes(data), decode.open_stored(data)
        assert isinstance(stored, Stored)
        assert np.array_equal(stored.pixels, rgb.pixels)


def test_whatever_is_refused_as_rgb_is_refused_alike() -> None:
    broken = [data for _what, data in broken_files() if data[:2] == b"\xff\xd8"]
    assert len(broken) > 40
    for data in broken:
        with pytest.raises(errors.ImagingError) as as_rgb:
            decode.open_stored(data)
        with pytest.raises(type(as_rgb.value)) as as_planes:
            decode.open_planes(data)
        assert as_planes.value.told == as_rgb.value.told


@pytest.mark.parametrize("cut", [0.4, 0.7, 0.95])
@pytest.mark.parametrize("scale", [1, 0.5])
def test_a_file_that_is_cut_off_gives_no_grey_rest(cut: float, scale: float) -> None:
    data = _sampled("420", 320, 240)
    with pytest.raises(errors.Unreadable):
        decode.open_planes(data[: int(cut * len(data))], at_least=320 if scale == 1 else 100)


def test_a_damaged_stream_is_not_patched_up() -> None:
    data = bytearray(_sampled("420", 320, 240))
    middle = len(data) * 2 // 3
    data[middle : middle + 40] = bytes(range(0xD0, 0xD8)) * 5
    data[middle] = 0xFF
    with pytest.raises(errors.Unreadable):
        decode.open_planes(bytes(data))
    with pytest.raises(ValueError, match="Corrupt JPEG data"):
        jpeg_planes.decode(bytes(data), jpeg.read_parts(bytes(data)), 0.5)


def test_padding_and_a_strange_header_are_forgiven_as_ever() -> None:
    sound = _sampled("420", 160, 120)
    padded = sound[:-2] + bytes(32) + sound[-2:]
    later = sound.replace(b"JFIF\0\x01\x01", b"JFIF\0\x09\x09").replace(b"JFIF\0\x01\x02", b"JFIF\0\x09\x09")
    assert later != sound
    for data in (padded, later):
        assert np.array_equal(_planes(data).planes.luma, _planes(sound).planes.luma)


def test_limits_come_before_the_decoder(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(jpeg_planes, "decode", lambda *_: pytest.fail("decoded"))
    with pytest.raises(errors.TooLarge):
        decode.open_planes(saved(painted()), Limits(max_side=100))


def test_nothing_is_looked_for_where_nothing_may_be_started(monkeypatch: pytest.MonkeyPatch) -> None:
    """Inside the walls no program can be started: the library is there since the module was loaded."""
    monkeypatch.setattr(subprocess, "Popen", lambda *_a, **_k: pytest.fail("started a program"))
    data = files()["jpeg"]
    parts = jpeg.read_parts(data)
    assert jpeg_planes.has_planes(data, parts)
    assert jpeg_planes.decode(data, parts, 1).size == (160, 120)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_facts_are_upright_and_planes_as_stored(orientation: int) -> None:
    data = saved(painted(), quality=95, exif=exif(orientation=orientation))
    stored = _planes(data)
    assert stored.planes.size == Image.open(io.BytesIO(data)).size
    assert (stored.facts.width, stored.facts.height) == ((160, 120) if orientation < 5 else (120, 160))
