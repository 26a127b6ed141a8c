"""What all papers share: page sizes and the cautions. Loaded with every page and letter, so nothing that draws."""

from __future__ import annotations

_MM = 72 / 2.54 * 0.1  # points
PAGES = {"A4": (210 * _MM, 297 * _MM), "Letter": (612.0, 792.0)}  # ISO 216; 8½ by 11 inches

CAUTION = (
    "This sheet records in general words what was agreed. It is not legal advice: local law and licensed "
    "practice decide what holds.",
    "A data-mining reservation is a notice to others, not a technical protection.",
    "A model-release status states what is on paper and claims nothing beyond it.",
    "For a minor, a parent or guardian consents, and that is recorded before anybody is invited.",
)


def page_size(name: str) -> tuple[float, float]:
    """Width and height in points of 'A4' or 'Letter'; raises ValueError for another."""
    if name not in PAGES:
        raise ValueError(f"'{name}' is not a page size; known are {', '.join(PAGES)}.")
    return PAGES[name]
