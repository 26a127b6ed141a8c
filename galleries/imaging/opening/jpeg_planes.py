"""A JPEG's own planes of light and colour, decoded as strictly as everything else and never made RGB.

By libjpeg-turbo's TurboJPEG interface: Debian's `libturbojpeg0`, through PyTurboJPEG, which gives planes at a fraction
of their size; simplejpeg writes planes but reads none. It takes as long as decoding to RGB, or a twentieth less. What
it saves comes after: half the samples to shrink for 4:2:0, and no conversion before the encoder. The library is loaded
with this module, because behind the walls of `contained` nothing can be looked for.
"""

from __future__ import annotations

import warnings

from turbojpeg import TJCS_YCbCr, TurboJPEG

from galleries.imaging.arrays import Bytes
from galleries.imaging.colour.planes import Planes
from galleries.imaging.containers.jpeg import JpegParts

_LIBRARY = "libturbojpeg.so.0"  # by this name with 2.1 and 3 alike; the loader looks for it, no program
_STOP_ON_WARNING = 8192  # TJFLAG_STOPONWARNING: what is damaged is not patched up
_COLOUR = ((1, 1), (1, 1))
_LIGHT = ((1, 1), (2, 1), (1, 2), (2, 2))
_library = TurboJPEG(_LIBRARY)


def has_planes(data: Bytes, parts: JpegParts) -> bool:
    """Whether the picture is of one plane of light and two of colour, these of each side whole or half.

    Raises ValueError as `decode`.
    """
    if parts.sampling[1:] != _COLOUR or parts.sampling[0] not in _LIGHT:
        return False
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            return bool(_library.decode_header(data)[3] == TJCS_YCbCr)
        except (OSError, UserWarning) as error:
            raise ValueError(str(error)) from error


def decode(data: Bytes, parts: JpegParts, scale: float) -> Planes:
    """The planes at `scale` (1, 1/2, 1/4 or 1/8), of a JPEG that `has_planes`.

    Raises ValueError with the decoder's own words for anything that is not quite right, as simplejpeg does.
    """
    parts_of = round(1 / scale)
    with warnings.catch_warnings():  # a file that is cut off is no more than a warning to it
        warnings.simplefilter("error")
        try:
            luma, cb, cr = _library.decode_to_yuv_planes(data, (1, parts_of), flags=_STOP_ON_WARNING)
        except (OSError, UserWarning) as error:
            raise ValueError(str(error)) from error
    height, width = -(-parts.height // parts_of), -(-parts.width // parts_of)
    return Planes(luma[:height, :width], cb, cr)  # light comes filled up to as much as colour stands for
