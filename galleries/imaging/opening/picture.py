"""What the opener gives back and is bound by: limits, a file's facts, its pixels as stored and upright."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import datetime
from enum import StrEnum
from typing import TYPE_CHECKING, Any

from galleries.told import Told

if TYPE_CHECKING:  # who asks for a kind or a fact only, as the storage does, loads no library of pixels
    from galleries.imaging.arrays import Pixels
    from galleries.imaging.colour.planes import Planes


@dataclass(frozen=True)
class Limits:
    """Checked before decoding; settings give the values."""

    max_bytes: int = 300_000_000
    max_pixels: int = 220_000_000
    max_side: int = 30_000


DEFAULT_LIMITS = Limits()


RAW_KINDS = frozenset({"DNG", "CR2", "CR3", "NEF", "ARW", "RAF", "ORF", "RW2", "PEF", "3FR", "IIQ", "RAW"})


class Shown(StrEnum):
    """Which picture of a file people see: the file itself, or of a raw file the camera's own or the sensor's."""

    FILE = "file"
    EMBEDDED = "embedded"
    SENSOR = "sensor"


@dataclass(frozen=True)
class FrameFacts:
    """What a file says of itself; width and height upright, captured_at the camera's own naive clock.

    Width and height are those of the picture that is shown; of a raw file the sensor's stand beside (else 0).
    """

    format: str
    width: int
    height: int
    orientation: int
    bits: int
    mode: str
    profile_name: str
    profile_assumed: bool
    profile_problem: Told | None = None  # why the embedded profile is not used; the frame is read as sRGB instead
    captured_at: datetime | None = None
    camera: str = ""
    frame_number: int | None = None
    shown: Shown = Shown.FILE
    sensor_width: int = 0
    sensor_height: int = 0

    @property
    def is_raw(self) -> bool:
        return self.format in RAW_KINDS

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON; the moment as ISO 8601."""
        plain = asdict(self)
        plain["profile_problem"] = self.profile_problem.as_dict() if self.profile_problem else None
        plain["captured_at"] = self.captured_at.isoformat() if self.captured_at else None
        return plain

    @classmethod
    def from_dict(cls, plain: dict[str, Any]) -> FrameFacts:
        moment = plain.get("captured_at")
        problem = plain.get("profile_problem")
        values: dict[str, Any] = {"captured_at": datetime.fromisoformat(moment) if moment else None}
        values["shown"] = Shown(plain.get("shown", Shown.FILE))
        return cls(**{**plain, **values, "profile_problem": Told.from_stored(problem) if problem else None})


@dataclass(frozen=True)
class Picture:
    """Upright RGB pixels (h, w, 3), uint8 or uint16, in `profile`; scale 0.5 = decoded at half size."""

    pixels: Pixels
    profile: bytes
    facts: FrameFacts
    scale: float = 1.0


@dataclass(frozen=True)
class Stored:
    """Pixels as the file has them, still to be turned by `facts.orientation`."""

    pixels: Pixels
    profile: bytes
    facts: FrameFacts
    scale: float


@dataclass(frozen=True)
class StoredPlanes:
    """As `Stored`, but the file's own planes of light and colour; `profile` is that of the RGB they stand for."""

    planes: Planes
    profile: bytes
    facts: FrameFacts
    scale: float
