"""File names: surname-given_look_frame_size.jpg, ASCII, each once."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from galleries.models import Final, Frame, Look, Sitting
from galleries.steps.delivering import naming


def _final(surname: str, given_name: str, look: str | None, number: int = 412, pk: int = 1) -> Final:
    sitting = Sitting(subject_surname=surname, subject_given=given_name)
    row = None if look is None else Look(title=look, position=2)
    return Final(pk=pk, sitting=sitting, frame=Frame(number=number, name="KAL_0412.JPG", look=row))


@pytest.mark.parametrize(
    ("surname", "given_name", "look", "name"),
    [
        ("Veld", "Ansa", "Linen shirt", "veld-ansa_linen-shirt_0412"),
        ("Œuvrard-Ångström", "Zoë", "Grün & weiß", "oeuvrard-angstrom-zoe_grun-weiss_0412"),
        ("Łódzki", "Þór", "Ø", "lodzki-thor_o_0412"),
        ("李", "小龍", "黒い背景", "subject_look-3_0412"),
        ("Иванова", "Anna", "Rims", "anna_rims_0412"),
        ("O'Brien", "Jo", None, "o-brien-jo_no-look_0412"),
        ("../../etc", "passwd\0", "a/b\\c", "etc-passwd_a-b-c_0412"),
    ],
)
def test_names(surname: str, given_name: str, look: str | None, name: str) -> None:
    assert naming.stem(_final(surname, given_name, look)) == name


@given(st.text(max_size=80), st.text(max_size=80), st.text(max_size=80))
def test_any_name_is_safe(surname: str, given_name: str, look: str) -> None:
    made = naming.stem(_final(surname, given_name, look))
    assert made.isascii()
    assert set(made) <= set("abcdefghijklmnopqrstuvwxyz0123456789-_")
    assert made.count("_") == 2
    assert len(made) < 100


def test_two_of_one_name_are_numbered() -> None:
    finals = [_final("Veld", "Ansa", "Linen", pk=pk) for pk in (1, 2, 3)]
    assert list(naming.stems(finals).values()) == [
        "veld-ansa_linen_0412",
        "veld-ansa_linen_0412-2",
        "veld-ansa_linen_0412-3",
    ]
