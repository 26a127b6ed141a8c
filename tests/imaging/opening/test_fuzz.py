"""Whatever bytes come, the opener answers with facts and whole pixels or with one of its own errors."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from galleries.imaging import errors
from galleries.imaging.colour import matrix_shaper, profiles
from galleries.imaging.containers import jpeg, tiff
from galleries.imaging.opening import decode, exif
from galleries.imaging.opening.picture import FrameFacts, Limits
from tests.imaging.core_pictures import files
from tests.imaging.negatives import seeds
from tests.telling import sentence_of

SOUND = {**files(), **seeds()}
LIMITS = Limits(max_bytes=200_000, max_pixels=4_000_000, max_side=4_000)
quick = settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def _answers(data: bytes) -> None:
    told = ""
    try:
        picture = decode.open_picture(data, LIMITS)
    except errors.ImagingError as error:
        told = sentence_of(error)
    if told:
        assert told.endswith(".")
        assert told.isprintable()
        return
    facts = picture.facts
    assert picture.pixels.shape == (facts.height, facts.width, 3)
    assert picture.pixels.dtype == (np.uint16 if facts.bits == 16 and facts.mode != "CMYK" else np.uint8)
    assert FrameFacts.from_dict(facts.as_dict()) == facts


MAGICS = [b"", b"\xff\xd8\xff\xe0", b"\x89PNG\r\n\x1a\n", b"II*\0", b"MM\0*", b"\0\0\0\x18ftypheic"]


@quick
@given(st.sampled_from(MAGICS), st.binary(max_size=600))
@example(b"II*\0", b"\x08\0\0\0\xff\xff")
def test_any_bytes(magic: bytes, rest: bytes) -> None:
    _answers(magic + rest)


@quick
@given(
    st.sampled_from(sorted(SOUND)),
    st.lists(st.tuples(st.floats(0, 1, exclude_max=True), st.integers(0, 255)), min_size=1, max_size=6),
)
def test_sound_files_with_bytes_changed(name: str, changes: list[tuple[float, int]]) -> None:
    data = bytearray(SOUND[name])
    for where, value in changes:
        data[int(where * len(data))] = value
    _answers(bytes(data))


@quick
@given(
    st.sampled_from(sorted(SOUND)),
    st.lists(st.tuples(st.integers(0, 400), st.integers(0, 255)), min_size=1, max_size=8),
)
def test_sound_files_with_their_headers_changed(name: str, changes: list[tuple[int, int]]) -> None:
    data = bytearray(SOUND[name])
    for where, value in changes:
        data[min(where, len(data) - 1)] = value
    _answers(bytes(data))


@quick
@given(st.sampled_from(sorted(SOUND)), st.floats(0, 1), st.floats(0, 1), st.binary(max_size=40))
def test_sound_files_with_a_piece_cut_out_or_put_in(name: str, start: float, end: float, new: bytes) -> None:
    data = SOUND[name]
    a, b = sorted((int(start * len(data)), int(end * len(data))))
    _answers(data[:a] + new + data[b:])


@quick
@given(st.sampled_from([b"", b"Exif\0\0", b"II*\0\x08\0\0\0", b"MM\0*\0\0\0\x08"]), st.binary(max_size=300))
def test_exif_never_raises(start: bytes, rest: bytes) -> None:
    facts = exif.read_exif(start + rest)
    assert 1 <= facts.orientation <= 8


@quick
@given(st.binary(max_size=300), st.integers(0, 200), st.sampled_from(["RGB", "GRAY", "CMYK"]))
def test_any_profile_is_judged(noise: bytes, at: int, space: str) -> None:
    icc = profiles.build("Adobe RGB")
    verdict = profiles.examine(icc[:at] + noise + icc[at + len(noise) :], space)
    assert verdict.icc or verdict.problem
    matrix_shaper.read(noise)
    matrix_shaper.read(icc[:at] + noise + icc[at + len(noise) :])


@quick
@given(st.binary(max_size=400))
def test_the_parsers_refuse_with_their_own_errors(rest: bytes) -> None:
    for parse, start in ((jpeg.read_parts, b"\xff\xd8"), (tiff.check, b"II*\0\x08\0\0\0")):
        try:
            parse(start + rest)  # type: ignore[operator]
        except errors.ImagingError:
            continue


@pytest.mark.parametrize("name", sorted(SOUND))
def test_every_shortening_of_the_last_bytes_is_told_or_harmless(name: str) -> None:
    """A file cut by 1 to 40 bytes is refused, or opens to exactly the same pixels and profile."""
    whole = decode.open_picture(SOUND[name])
    for cut in range(1, 41):
        try:
            picture = decode.open_picture(SOUND[name][:-cut])
        except errors.Unreadable:
            continue
        assert np.array_equal(picture.pixels, whole.pixels)
        assert picture.profile == whole.profile
