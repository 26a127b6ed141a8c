"""A frame as sorting sees it: numbers only, no pixels."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

Lab = tuple[float, float, float]


@dataclass(frozen=True)
class FrameNumbers:
    """What is known of one frame; None is 'not known'.

    captured_at: the camera's own clock, whatever it says. sequence: the number the camera gave the file. light:
    stops by which the picture-right and the upper half of the face are brighter than the other. face: its median L*.
    hash: 64 bits.
    openness: of the less open eye. reflex: from iris to upper lid, of the eye
    whose lid is lower. sharpness: at the nearer eye. soft:
    what the reading itself says.
    """

    id: str
    captured_at: datetime | None = None
    camera: str = ""
    sequence: int | None = None
    backdrop: Lab | None = None
    wardrobe: Lab | None = None
    light: tuple[float, float] | None = None
    monochrome: bool = False
    face: float | None = None
    hash: int | None = None
    openness: float | None = None
    reflex: float | None = None
    sharpness: float | None = None
    soft: bool | None = None

    @classmethod
    def from_reading(
        cls,
        frame_id: str,
        reading: Mapping[str, Any],
        *,
        captured_at: datetime | None = None,
        camera: str = "",
        sequence: int | None = None,
    ) -> FrameNumbers:
        """Take the numbers out of a stored reading (`FrameReading.as_dict()`)."""
        face = reading.get("face") or {}
        lids = [face.get(f"{side}_openness") for side in ("right", "left")]
        known = [value for value in lids if value is not None]
        x, y = reading.get("light_x"), reading.get("light_y")
        return cls(
            id=frame_id,
            captured_at=captured_at,
            camera=camera,
            sequence=sequence,
            backdrop=_lab(reading.get("backdrop_lab")),
            wardrobe=_lab(reading.get("wardrobe_lab")),
            light=None if x is None or y is None else (float(x), float(y)),
            monochrome=bool(reading.get("monochrome")),
            face=reading.get("face_l"),
            hash=int(reading["hash"], 16) if reading.get("hash") else None,
            openness=min(known) if known else None,
            reflex=reading.get("reflex_distance"),
            sharpness=reading.get("sharpness"),
            soft=reading.get("soft"),
        )


def _lab(values: Any) -> Lab | None:
    return None if values is None else (float(values[0]), float(values[1]), float(values[2]))
