"""Everything that sorting can tell. `galleries.words.sorting` has the sentence of each."""

from __future__ import annotations

from enum import StrEnum


class Code(StrEnum):
    # why a look begins
    BACKDROP_CHANGES = "look.backdrop_changes"
    BACKDROP_ANOTHER = "look.backdrop_another"
    WARDROBE_CHANGES = "look.wardrobe_changes"
    WARDROBE_ANOTHER = "look.wardrobe_another"
    LIGHT_TO_RIGHT = "look.light_to_right"
    LIGHT_TO_LEFT = "look.light_to_left"
    LIGHT_HARDER = "look.light_harder"
    LIGHT_SOFTER = "look.light_softer"
    LIGHT_OTHER_SIDE = "look.light_other_side"
    TO_MONOCHROME = "look.to_monochrome"
    TO_COLOUR = "look.to_colour"
    PAUSE_ALONE = "look.pause_alone"
    AFTER_PAUSE = "look.after_pause_of"
    SEVERAL_SMALL = "look.several_small"
    # that its place is not sure
    MAYBE_EARLIER = "look.maybe_earlier"
    MAYBE_LATER = "look.maybe_later"
    MAYBE_EITHER = "look.maybe_either"

    # a look that nobody has named yet
    WARDROBE = "look.wardrobe"
    BACKDROP = "look.backdrop"
    MONOCHROME = "look.monochrome"
    NOT_READ = "look.not_read"

    # clocks and cameras
    NEITHER_CLOCK_NOR_NUMBER = "clock.neither_nor"
    SEVERAL_BODIES = "clock.several_bodies"
    JUMPED = "clock.jumped"
    NO_CLOCK = "clock.none"
    BEHIND = "clock.behind"
    AHEAD = "clock.ahead"

    # why a frame comes first in its run
    SINGLE = "run.single"
    OPEN_EYES = "run.open_eyes"
    SHARPEST_EYE = "run.sharpest_eye"
    OPEN_AND_SHARPEST = "run.open_and_sharpest"
    FIRST_OF_RUN = "run.first"


# Plain colours of a backdrop or a wardrobe; some also as dark_… and light_….
PLAIN = ("black", "dark_grey", "grey", "light_grey", "white", "pink", "beige", "brown")
SHADED = ("red", "orange", "yellow", "olive", "green", "teal", "blue", "purple", "magenta")
COLOURS = (*PLAIN, *(f"{shade}{name}" for name in SHADED for shade in ("", "dark_", "light_")))
