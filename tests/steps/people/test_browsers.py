"""A browser's family by what it says of itself."""

from __future__ import annotations

import pytest

from galleries.steps.people import browsers

# As each maker documents them, versions made up; from memory.
WINDOWS = "Mozilla/5.0 (Windows NT 10.0; Win64; x64; rv:140.0) Gecko/20100101 Firefox/140.0"
PHONE = (
    "Mozilla/5.0 (iPhone; CPU iPhone OS 18_5 like Mac OS X) AppleWebKit/605.1.15 (KHTML, like Gecko) Version/18.5"
    " Mobile/15E148 Safari/604.1"
)


@pytest.mark.parametrize(
    ("agent", "told"),
    [
        (WINDOWS, ("Firefox", "Windows")),
        (PHONE, ("Safari", "iPhone")),
        ("Mozilla/5.0 (X11; Linux x86_64) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/137.0.0.0 Safari/537.36",
         ("Chrome", "Linux")),
        ("Mozilla/5.0 (Windows NT 10.0) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/137.0 Safari/537.36 Edg/137.0",
         ("Edge", "Windows")),
        ("Mozilla/5.0 (Linux; Android 15) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/137.0 Mobile Safari/537.36",
         ("Chrome", "Android")),
        ("Mozilla/5.0 (iPhone; CPU iPhone OS 18_5 like Mac OS X) AppleWebKit/605.1.15 CriOS/137.0 Mobile Safari/604.1",
         ("Chrome", "iPhone")),
        ("Mozilla/5.0 (iPhone; CPU iPhone OS 18_5 like Mac OS X) AppleWebKit/605.1.15 Mobile/15E148", ("", "iPhone")),
        ("Mozilla/5.0 (Macintosh; Intel Mac OS X 10_15_7) AppleWebKit/605.1.15 Version/18.5 Safari/605.1.15",
         ("Safari", "macOS")),
        ("<script>alert(1)</script>", ("", "")),
        ("", ("", "")),
    ],
)  # fmt: skip
def test_a_browser_is_told_by_what_it_says(agent: str, told: tuple[str, str]) -> None:
    assert browsers.read(agent) == told
