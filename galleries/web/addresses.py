"""Addresses that stand on one page by the thousand: looked up once, filled in for each."""

from __future__ import annotations

from functools import cache

from django.urls import reverse

_FRAME, _PROOF = 101, 202


@cache
def _of_pictures() -> tuple[str, str, str, str]:
    """What stands before the frame, between it and the kind, between that and the proof, and behind it."""
    before, rest = reverse("proof-picture", args=[_FRAME, "KIND", _PROOF]).split(str(_FRAME))
    between, rest = rest.split("KIND")
    middle, after = rest.split(str(_PROOF))
    return before, between, middle, after


@cache
def _of_views() -> tuple[str, str]:
    """What stands before the frame, and behind it."""
    before, after = reverse("view-picture", args=[_FRAME]).split(str(_FRAME))
    return before, after


def view_picture(frame: int, *, as_on_desk: bool = False) -> str:
    """The studio's own rendition, without the stamp; as small as the desk draws it, where asked."""
    before, after = _of_views()
    return f"{before}{frame}{after}{'?of=desk' if as_on_desk else ''}"


def proof_picture(frame: int, kind: str, proof: int) -> str:
    """As `reverse("proof-picture", …)`, for our own words only: none of it is quoted."""
    before, between, middle, after = _of_pictures()
    return f"{before}{frame}{between}{kind}{middle}{proof}{after}"
