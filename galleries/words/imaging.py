"""The sentences of what imaging tells (`galleries.imaging.codes`)."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

from galleries.imaging.codes import Code
from galleries.told import Value
from galleries.words.lists import listed

SENTENCES: dict[str, str] = {
    Code.FILE_UNREADABLE: _("The file %(name)s cannot be read (%(error)s)."),
    Code.EMPTY: _("This file is empty."),
    Code.NO_PICTURE: _("This file is no JPEG, TIFF, PNG or HEIF picture, whatever its name says."),
    Code.TOO_MANY_BYTES: _("This file has %(size_bytes)s bytes; at most %(most_bytes)s are accepted."),
    Code.NO_SIZE: _("This %(kind)s claims a size of %(width_px)s × %(height_px)s pixels."),
    Code.SIDE_TOO_LONG: _("This %(kind)s is %(width_px)s × %(height_px)s pixels; no side may exceed %(most_px)s."),
    Code.TOO_MANY_PIXELS: _(
        "This %(kind)s is %(width_px)s × %(height_px)s, %(size_pixels)s pixels; at most %(most_pixels)s are accepted."
    ),
    Code.NEEDS_MEMORY: _("Decoding this %(kind)s needs more memory than the decoder may take."),
    Code.DATA_DAMAGED: _("This %(kind)s is cut off or damaged: its picture data break off or contradict its header."),
    Code.HEADER_DAMAGED: _("This %(kind)s is cut off or damaged: its header cannot be read."),
    Code.SAMPLES: _("This %(kind)s holds %(samples)s samples; export it as 8 or 16 bit."),
    Code.CHANNELS: _("This %(kind)s holds %(channels)s channels of %(space)s; only grey, RGB and CMYK are read."),
    Code.HEIF_SIZE: _("This HEIF decodes to another size than its header says."),
    Code.HEIF_COLOURS: _("This HEIF names its colours in a way that is not read here (wide or high dynamic range)."),
    Code.PNG_COLOURS: _("This PNG names its colours in a way that is not read here (wide or high dynamic range)."),
    Code.CIELAB: _("The colours of this %(kind)s are stored as CIELAB; export it as RGB."),
    Code.RAW_FRAME: _("This is a raw file of a kind that cannot be read here; export a JPEG or TIFF from it."),
    Code.RAW_CUT_OFF: _("This raw file (%(kind)s) is cut off: parts that it points at lie past its end."),
    Code.JPEG_CUT_OFF: _("This JPEG is cut off: its picture data end before the last row."),
    Code.JPEG_NO_FRAME: _("This JPEG has no frame header."),
    Code.JPEG_SCANS: _("This JPEG has more than %(most)s scans and is refused unread."),
    Code.JPEG_LEFT_OVER: _("This JPEG is damaged: picture data are left over after its last row."),
    Code.JPEG_ENDS_EARLY: _("This JPEG ends before its picture data begin."),
    Code.JPEG_NO_DATA: _("This JPEG has a header but no picture data."),
    Code.JPEG_HEADER_ENDS: _("This JPEG ends in the middle of its header."),
    Code.JPEG_LOSSLESS: _("This is a lossless JPEG, which is not read here."),
    Code.JPEG_ARITHMETIC: _("This is an arithmetic-coded JPEG, which is not read here."),
    Code.JPEG_HIERARCHICAL: _("This is a hierarchical JPEG, which is not read here."),
    Code.JPEG_FRAME_SHORT: _("This JPEG's frame header is cut short."),
    Code.JPEG_BITS: _("This JPEG has %(bits)s bits a sample; only 8-bit JPEG is read here."),
    Code.JPEG_COMPONENTS: _("This JPEG claims %(components)s colour components; 1, 3 or 4 are possible."),
    Code.TIFF_CUT_OFF: _("This TIFF is cut off: parts that its directory names lie past the end of the file."),
    Code.DECODER_MEMORY: _("Decoding this file needs more memory than the decoder may take."),
    Code.NO_FILE: _("This is no file."),
    Code.TOOK_TOO_LONG: _("Decoding this file took longer than %(most_s)s seconds and was given up."),
    Code.DECODER_STOPPED: _("Decoding this file stopped the decoder (%(status)s)."),
    Code.NO_DRAWING: _("Nothing stands out from its ground in this picture; take one of the logo alone."),
    Code.NO_SOUND_ANSWER: _("Decoding this file gave no sound answer."),
    Code.DAMAGED_UNFORESEEN: _("This file is damaged in a way the decoder did not expect."),
    Code.PROFILE_PIECES: _("The pieces of the embedded colour profile do not fit together."),
    Code.PROFILE_DAMAGED: _("The colour profile is damaged and cannot be opened."),
    Code.PROFILE_LARGE: _("The colour profile is larger than %(most_bytes)s bytes and is not used."),
    Code.PROFILE_SPACE: _("The colour profile “%(name)s” is for %(actual)s, not %(space)s."),
    Code.PROFILE_LACKS: _("The colour profile “%(name)s” lacks what a conversion needs."),
    Code.PROFILE_UNKNOWN: _("There is no colour profile “%(name)s” here; there are %(known)s."),
    Code.PROFILE_GREY: _("A delivery size needs an RGB profile; “Gray” is none."),
    Code.PROFILE_NO_WAY: _("There is no way from the one colour profile to the other."),
    Code.PROFILE_POINTS: _("The file names its colours by numbers that no screen can have."),
    Code.ONE_FACE: _("One face."),
    Code.SEVERAL_FACES: _("%(faces)s faces: the subject is the largest near the middle."),
    Code.HEAD_WITHOUT_FACE: _("No face found: something like a head is there, but no eyes and mouth."),
    Code.NO_FACE: _("No face found: turned away, covered, or nobody in the frame."),
    Code.NETWORKS_MISSING: _("The face networks are missing: install the package %(package)s."),
    Code.UNKNOWN_NO_FACE: _("no face found"),
    Code.UNKNOWN_FILLED: _("the person fills the frame"),
    Code.UNKNOWN_SMALL_FRAME: _("the frame is too small"),
    Code.UNKNOWN_SHADED: _("dark glasses or deep shade over the eyes"),
    Code.UNKNOWN_TURNED: _("the head is turned away from this eye"),
    Code.UNKNOWN_SMALL_FACE: _("the face is too small"),
    Code.UNKNOWN_NO_CHEST: _("the frame ends above the chest"),
    Code.UNKNOWN_MONOCHROME: _("the frame is black and white"),
    Code.UNKNOWN_CONTRAST: _("too little contrast at the eye, or cut off"),
    Code.UNKNOWN_DETAIL: _("the frame shows no detail to compare with"),
    Code.UNKNOWN_IRIS: _("the iris has a radius of %(radius_px)s px, %(least_px)s are needed"),
    Code.UNKNOWN_CLOSED: _("the eye is closed"),
    Code.UNKNOWN_NEARLY_CLOSED: _("the eye is nearly closed"),
    Code.UNKNOWN_EDGE: _("the eye lies at the frame's edge"),
    Code.UNKNOWN_DARK_PUPIL: _("pupil and iris are equally dark"),
    Code.UNKNOWN_PUPILS_DIFFER: _("the two eyes do not agree"),
    Code.WHOLE_FRAME: _("The whole frame, not cropped."),
    Code.MIDDLE: _("No face is known: the middle of the upper part, as large as it goes."),
    Code.MEASURES: _(
        "Eye line %(eyes_share)s from the top, headroom %(headroom_share)s, head %(head_share)s of the height."
    ),
    Code.CHIN_OUT_OF_FRAME: _("The chin is cut: the frame ends above it or is too small for this shape."),
    Code.EYES_HIGH: _("The eye line is high: the frame leaves no better place for this shape."),
    Code.EYES_LOW: _("The eye line is low: the frame leaves no better place for this shape."),
    Code.CROWN_OUTSIDE: _("The crown lies outside the frame."),
    Code.CROWN_OUTSIDE_ESTIMATED: _("The crown (estimated) lies outside the frame."),
    Code.CROWN_GIVEN_UP: _("The crown is cut to keep the chin and the eye line."),
    Code.CROWN_GIVEN_UP_ESTIMATED: _("The crown (estimated) is cut to keep the chin and the eye line."),
    Code.LITTLE_HEADROOM: _("Little headroom: the crown is near the edge of what the frame gives."),
    Code.LITTLE_HEADROOM_ESTIMATED: _(
        "Little headroom: the crown (estimated) is near the edge of what the frame gives."
    ),
    Code.MUCH_HEADROOM: _("More headroom than usual, to keep the eye line."),
    Code.TIGHT: _("The head is large: the frame is tight for this shape."),
    Code.LOOSE: _("The head is small: cropping further would break the eye line or the headroom."),
    Code.OFF_MIDDLE: _("The face is off the middle: the frame ends on that side."),
    Code.ROOM_RIGHT: _("A little more room on the right, where the face looks to."),
    Code.ROOM_LEFT: _("A little more room on the left, where the face looks to."),
    Code.LEVELLED: _("Turned by %(tilt_deg)s° so that the eyes lie level."),
    Code.FACE_NOT_KNOWN: _("No face is known in this frame: check head and eyes yourself."),
    Code.OUTSIDE: _("The crop lies outside the frame of %(width_px)s × %(height_px)s pixels."),
    Code.SHAPE: _("%(width_px)s × %(height_px)s is not of the shape %(width)s:%(height)s."),
    Code.TO_ENLARGE: _(
        "The crop has %(width_px)s × %(height_px)s pixels for %(out_width_px)s × %(out_height_px)s: "
        "it would be enlarged %(enlarged_times)s times."
    ),
    Code.FEW_PPI: _("The print would have %(print_ppi)s ppi; %(least_ppi)s is the least asked for."),
    Code.CHIN_CUT: _("The chin is cut."),
    Code.CHIN_MAY_BE_CUT: _("The chin may be cut."),
    Code.CHIN_UNSAFE: _("The chin lies outside the safe area."),
    Code.CROWN_CUT: _("The crown is cut."),
    Code.CROWN_MAY_BE_CUT: _("The crown may be cut."),
    Code.SIDE_CUT: _("A side of the face is cut."),
    Code.EYE_LINE: _("The eye line is %(eyes_share)s from the top; %(least_share)s to %(most_share)s is usual."),
    Code.HEAD_LARGE: _("The head takes %(head_share)s of the height."),
    Code.HEAD_SMALL: _("The head takes only %(head_share)s of the height."),
    Code.NO_AREA: _("A crop of %(width_px)s × %(height_px)s pixels has no area."),
    Code.SHAPE_NO_AREA: _("A shape of %(width)s:%(height)s has no area."),
    Code.ORDER_OUTSIDE: _(
        "The crop %(width_px)s × %(height_px)s at (%(x_px)s, %(y_px)s) for “%(size)s” does not lie inside the frame of "
        "%(frame_width_px)s × %(frame_height_px)s."
    ),
    Code.ORDER_TURNED_OUTSIDE: _(
        "The crop %(width_px)s × %(height_px)s at (%(x_px)s, %(y_px)s) for “%(size)s”, turned by %(tilt_deg)s°, leaves "
        "the frame of %(frame_width_px)s × %(frame_height_px)s."
    ),
    Code.ORDER_SHAPE: _(
        "The crop %(width_px)s × %(height_px)s at (%(x_px)s, %(y_px)s) is not of the shape %(width)s:%(height)s that "
        "“%(size)s” needs."
    ),
    Code.SIZE_USE: _("Size “%(size)s”: use “%(use)s” is none of %(known)s."),
    Code.SIZE_FORMAT: _("Size “%(size)s”: file format “%(format)s” is none of %(known)s."),
    Code.SIZE_BITS: _("Size “%(size)s”: %(bits)s bits are not possible in a %(format)s file."),
    Code.SIZE_SIDES: _("Size “%(size)s”: %(width_px)s × %(height_px)s is no size; give both sides, or 0 × 0."),
    Code.SIZE_QUALITY: _("Size “%(size)s”: quality must be 1 to 100 and ppi at least 1."),
    Code.SIZE_NEGATIVE: _("Size “%(size)s”: bleed, border, safe area, byte cap and least ppi cannot be negative."),
    Code.SIZE_NOTHING_LEFT: _("Size “%(size)s”: border and safe area leave nothing of %(width_px)s × %(height_px)s."),
    Code.STRIP_NO_ROOM: _(
        "A name strip of %(strip_px)s px does not fit into a picture of %(width_px)s × %(height_px)s px."
    ),
    Code.STRIP_NO_LETTERS: _("No font on this machine can draw %(letters)s of the name “%(name)s”."),
    Code.STRIP_EMPTY: _("The name for the strip is empty."),
    Code.STRIP_TOO_LONG: _("The name “%(name)s” is too long for its strip: it would be %(height_px)s px high."),
    Code.ENLARGED: _(
        "Enlarged %(enlarged_times)s times: the crop has %(width_px)s × %(height_px)s pixels for "
        "%(out_width_px)s × %(out_height_px)s, so the effective resolution is %(effective_ppi)s of %(wanted_ppi)s ppi."
    ),
    Code.UNDER_PPI: _("%(effective_ppi)s ppi is under the %(least_ppi)s ppi that “%(size)s” asks for."),
    Code.CAP_UNDER_RIGHTS: _("The rights metadata alone are larger than the byte cap: no picture fits under it."),
    Code.CAP_UNDER_TAGS: _(
        "At the lowest quality allowed (%(quality)s) the %(width_px)s × %(height_px)s picture takes %(size_bytes)s "
        "bytes, over the cap of %(cap_bytes)s; no picture fits, its tags alone take about %(tags_bytes)s bytes."
    ),
    Code.CAP_WOULD_FIT: _(
        "At the lowest quality allowed (%(quality)s) the %(width_px)s × %(height_px)s picture takes %(size_bytes)s "
        "bytes, over the cap of %(cap_bytes)s; %(fits_width_px)s × %(fits_height_px)s pixels would fit."
    ),
    Code.CAP_NOTHING_FITS: _(
        "At the lowest quality allowed (%(quality)s) the %(width_px)s × %(height_px)s picture takes %(size_bytes)s "
        "bytes, over the cap of %(cap_bytes)s; no useful size fits."
    ),
    Code.TIFF_OVER_CAP: _("The TIFF takes %(size_bytes)s bytes, over the cap of %(cap_bytes)s; a JPEG would fit."),
    Code.OVER_WITH_RIGHTS: _("With its rights metadata the file takes %(size_bytes)s bytes, over %(cap_bytes)s."),
    Code.PAPER_LACKS: _("%(outside_share)s of the picture has colours that this paper cannot show."),
    Code.LAB_NO_PROFILE: _("This file is no colour profile."),
    Code.LAB_CLASS: _("This profile is for neither a printer nor a display, so nothing can be printed with it."),
    Code.LAB_SPACE: _("This profile is for %(space)s files; ask the lab for its RGB profile."),
    Code.NOT_SIMULATED: _("The print cannot be simulated with this profile."),
    Code.RIGHTS_UNREADABLE: _("The file's metadata cannot be read (%(reason)s)."),
    Code.RIGHTS_UNWRITABLE: _("The rights cannot be written into the file (%(reason)s)."),
    Code.RIGHTS_KIND: _("Rights can be written to and read from JPEG, TIFF and PNG only; this file is none of them."),
    Code.RIGHTS_JPEG_DAMAGED: _("The JPEG's structure breaks off or is damaged."),
    Code.RIGHTS_JPEG_BREAKS: _("The JPEG breaks off inside its pixels."),
    Code.RIGHTS_PNG_BREAKS: _("The PNG breaks off before its end."),
    Code.RIGHTS_TIFF_ENTRY: _("The TIFF's entry %(entry)s points outside the file."),
    Code.RIGHTS_TIFF_DAMAGED: _("The TIFF's directory breaks off or is damaged."),
    Code.RIGHTS_TIFF_NO_PIXELS: _("The TIFF does not say where its pixels are."),
    Code.RIGHTS_TIFF_OLD_JPEG: _("A TIFF with old-style JPEG inside cannot be rewritten safely."),
    Code.RIGHTS_TIFF_PIXELS: _("The TIFF's pixels break off."),
    Code.RIGHTS_TIFF_NUMBER: _("The TIFF's directory holds a number of an unknown type."),
    Code.RIGHTS_CONTROL: _("The field “%(field)s” holds a control character."),
    Code.RIGHTS_NO_CODE: _("“%(value)s” is not a code for “%(field)s”; known are %(known)s."),
    Code.RIGHTS_ALT_TEXT: _(
        "The description for people who cannot see it has %(signs)s characters; %(most)s is the most."
    ),
    Code.RIGHTS_ENDS_FIRST: _("The licence ends on %(ends_day)s, before it starts on %(starts_day)s."),
    Code.RIGHTS_NO_CONSTRAINT: _("The data-mining reservation points to a constraint, but none is written."),
    Code.RIGHTS_NO_ADDRESS: _("The field “%(field)s” is not a web address: %(value)s."),
    Code.RIGHTS_NAMELESS_LICENSOR: _("A licensor has no name."),
    Code.RIGHTS_DIFFER: _("“%(field)s” differs: %(source)s says “%(value)s”, %(other_source)s says “%(other_value)s”."),
    Code.RIGHTS_DATE: _("The date of “%(field)s” cannot be understood: “%(value)s”."),
    Code.RIGHTS_CAPTURE_DATE: _("The capture date in %(source)s cannot be understood: “%(value)s”."),
    Code.RIGHTS_FIELD: _("The field “%(field)s” should be “%(wanted)s” but is “%(actual)s”."),
    Code.RIGHTS_NOT_AS_WRITTEN: _("What was written into the file does not read back."),
    Code.CREDENTIALS_UNWRITABLE: _("Where the file comes from could not be signed: %(reason)s."),
    Code.CREDENTIALS_NOT_AS_WRITTEN: _("What was signed into the file does not read back."),
    Code.PRIVATE_POSITION: _("The file carries a GPS position."),
    Code.PRIVATE_SERIAL: _("The file carries a serial number."),
    Code.PRIVATE_OWNER: _("The file carries the name of the camera's owner."),
    Code.PRIVATE_MAKER_NOTES: _("The file carries maker notes."),
    Code.PRIVATE_THUMBNAIL: _("The file carries a thumbnail."),
    Code.PRIVATE_PLACE: _("The file carries the name of a place."),
    Code.PRIVATE_HISTORY: _("The file carries the history of its editing."),
    Code.TRACER_NO_COPY: _("Not found: this is no copy of that proof, or too little of it is left."),
    Code.TRACER_NO_MARK: _("Not found: the picture is a copy of that proof, but no tracer is left in it."),
    Code.TRACER_HEARD: _(
        "The copy carries the tracer %(tracer)s; the odds of a false match are under 1 in %(one_in)s, and "
        "%(strength_share)s of the tracer is left."
    ),
    Code.TRACER_MIXED: _("The copy was mixed from %(copies)s copies."),
    Code.TRACER_COPY_UNREADABLE: _("The copy cannot be opened as a picture."),
    Code.TRACER_TOO_SMALL: _("A proof of %(width_px)s × %(height_px)s pixels is too small to carry the tracer."),
    Code.TRACER_HALVES: _("The prepared proof is damaged: its two halves do not fit together."),
    Code.TRACER_NOT_COLOUR: _("Only a JPEG in colour can carry the tracer."),
    Code.TRACER_SAMPLING: _("The JPEG's colour sampling is not one the tracer knows."),
    Code.TRACER_PROOF_UNREADABLE: _("The proof cannot be decoded."),
}

_SHAPES = {
    "eyes": (_("the eyes are %(percent)d %% larger"), _("the eyes are %(percent)d %% smaller")),
    "mouth": (_("the mouth is %(percent)d %% larger"), _("the mouth is %(percent)d %% smaller")),
    "nose": (_("the nose is %(percent)d %% wider"), _("the nose is %(percent)d %% narrower")),
    "face": (
        _("the whole face is %(percent)d %% wider against its height"),
        _("the whole face is %(percent)d %% narrower against its height"),
    ),
    "cheeks": (
        _("the face is %(percent)d %% wider at the cheeks"),
        _("the face is %(percent)d %% narrower at the cheeks"),
    ),
    "jaw": (_("the jaw is %(percent)d %% wider"), _("the jaw is %(percent)d %% narrower")),
    "chin": (_("the lower face is %(percent)d %% longer"), _("the lower face is %(percent)d %% shorter")),
}
CHANGED = _("Against the frame %(changes)s. A headshot must look like the person who walks in.")


TEXTURE = _("%(percent)d %% of the skin's fine texture is gone")
SKIN_LIGHTER = _("the skin is lighter than the rest of the picture explains (%(apart)d ΔE, %(lightness)+d L*)")
SKIN_DARKER = _("the skin is darker than the rest of the picture explains (%(apart)d ΔE, %(lightness)+d L*)")
SKIN_COLOUR = _("the skin has another colour than the rest of the picture explains (%(apart)d ΔE)")
IRISES = _("the irises have another colour (%(apart)d ΔE)")
SKIN_TRUE = _("Skin tone must stay true.")
MAY_ERR = _("A program read this and may err: your eye decides.")
_LIGHTER = 2  # L* from which skin is called lighter or darker


def _shape_changed(data: Mapping[str, Value]) -> str:
    parts = []
    for name, value in data.items():
        if not isinstance(value, int | float):
            continue
        if name == "texture_percent":
            parts.append(gettext(TEXTURE) % {"percent": value})
        elif name == "irises_delta_e":
            parts.append(gettext(IRISES) % {"apart": value})
        elif name == "skin_delta_e":
            parts.append(_skin(value, data.get("skin_lightness")))
        elif name.endswith("_percent"):
            wider, narrower = _SHAPES[name.removesuffix("_percent")]
            parts.append(gettext(narrower if value < 0 else wider) % {"percent": abs(value)})
    sentences = [gettext(CHANGED) % {"changes": listed(parts)}]
    sentences += [gettext(SKIN_TRUE)] if "skin_delta_e" in data or "texture_percent" in data else []
    return " ".join([*sentences, gettext(MAY_ERR)])


def _skin(apart: float, lightness: Value) -> str:
    if not isinstance(lightness, int | float) or abs(lightness) < _LIGHTER:
        return gettext(SKIN_COLOUR) % {"apart": apart}
    return gettext(SKIN_LIGHTER if lightness > 0 else SKIN_DARKER) % {"apart": apart, "lightness": lightness}


KINDS = {
    "eyes": _("eyes"),
    "mouth": _("mouth"),
    "nose": _("nose"),
    "width": _("width of the face"),
    "chin": _("chin"),
    "texture": _("skin texture"),
    "skin": _("skin colour"),
    "irises": _("colour of the irises"),
}
UNREAD = _("Could not be compared: %(kinds)s.")


def not_compared(kinds: Sequence[str]) -> str:
    """Which kinds of change a version could not be read for; '' for none."""
    known = [gettext(KINDS[kind]) for kind in kinds if kind in KINDS]
    return gettext(UNREAD) % {"kinds": listed(known)} if known else ""


MAKERS: dict[str, Callable[[Mapping[str, Value]], str]] = {Code.SHAPE_CHANGED: _shape_changed}
