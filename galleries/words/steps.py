"""What the verbs tell by code, because it is kept and read later, perhaps in another language; with the sentences."""

from __future__ import annotations

from enum import StrEnum

from django.utils.translation import gettext_noop as _


class Code(StrEnum):
    CARRIED_OVER = "crop.carried_over"
    CAMERA_PICTURE = "delivery.camera_picture"
    CAMERA_PICTURE_PPI = "delivery.camera_picture_ppi"
    NOT_LAID_OVER = "comparing.not_laid_over"
    BY_NAME = "match.by_name"
    BY_PICTURE = "match.by_picture"
    BY_PERSON = "match.by_person"
    LIST_OPEN = "match.list_open"
    NAMED_BUT_UNLIKE = "match.named_but_unlike"
    NAMED_BUT_ANOTHER = "match.named_but_another"
    NAME_FITS_SEVERAL = "match.name_fits_several"
    PICTURE_FITS_SEVERAL = "match.picture_fits_several"
    FITS_NONE = "match.fits_none"
    LIKE_ANOTHER = "match.like_another"
    SAME_VERSION = "match.same_version"
    NOT_RETOUCHED = "match.not_retouched"
    RAW_VERSION = "match.raw_version"
    AFTER_PAUSE = "look.after_pause"
    FIRST_FRAMES = "look.first_frames"
    TOO_MANY_MB = "ingest.too_many_mb"
    MALWARE_FOUND = "ingest.malware_found"
    SCANNER_TOO_SMALL = "ingest.scanner_too_small"
    SITTING_CHANGED = "stage.sitting_changed"
    FINAL_CHANGED = "stage.final_changed"
    DELIVERY_CHANGED = "stage.delivery_changed"
    ORDER_VERSION = "order.version"
    ORDER_STRANGE = "order.strange"
    JOB_BROKE = "job.broke"
    ARRIVAL_LOST = "ingest.arrival_lost"
    READ_AS_SRGB = "ingest.read_as_srgb"
    VERSION_COLOURS = "match.version_colours"
    JOB_STOPPED = "job.stopped"
    DISK_FULL = "job.disk_full"
    OUT_OF_REACH = "job.out_of_reach"


SENTENCES: dict[str, str] = {
    Code.CARRIED_OVER: _("Carried over from a picture of another size: please look at it again."),
    Code.CAMERA_PICTURE: _(
        "Cut from the camera's own picture inside the raw file %(name)s, %(width_px)s × %(height_px)s pixels "
        "(digital source type %(source)s); no version was developed."
    ),
    Code.CAMERA_PICTURE_PPI: _(
        "Cut from the camera's own picture inside the raw file %(name)s, %(width_px)s × %(height_px)s pixels "
        "(digital source type %(source)s), at %(effective_ppi)s ppi; no version was developed."
    ),
    Code.NOT_LAID_OVER: _("The retouch cannot be laid over its frame, so the shape of the face was not compared."),
    Code.BY_NAME: _("by its file name"),
    Code.BY_PICTURE: _("by its picture (likeness %(likeness)s of 100)"),
    Code.BY_PERSON: _("chosen by %(name)s"),
    Code.LIST_OPEN: _("There is no final to match it to: the list is not closed."),
    Code.NAMED_BUT_UNLIKE: _("It is named like %(frame)s, but does not look like that frame."),
    Code.NAMED_BUT_ANOTHER: _("It is named like %(frame)s, but looks like %(other)s."),
    Code.NAME_FITS_SEVERAL: _("Its name fits more than one final."),
    Code.PICTURE_FITS_SEVERAL: _("It may be any of several finals, or a retouch of none."),
    Code.FITS_NONE: _("Neither its name nor its picture fits any final."),
    Code.LIKE_ANOTHER: _("It looks like frame %(frame)s too, which is not on the list."),
    Code.SAME_VERSION: _("This file is version %(version)s already."),
    Code.RAW_VERSION: _("This is a raw file of a camera; a version is the picture developed from it, as TIFF or JPEG."),
    Code.NOT_RETOUCHED: _("This is the camera's own file of frame %(frame)s, not a retouch of it."),
    Code.AFTER_PAUSE: _("first frame after a pause"),
    Code.FIRST_FRAMES: _("first frames of the sitting"),
    Code.TOO_MANY_MB: _("The file is larger than the %(most)s MB that a frame may have."),
    Code.MALWARE_FOUND: _("The studio's scanner found something harmful in the file: %(name)s. It was not kept."),
    Code.SCANNER_TOO_SMALL: _(
        "The file is larger than the studio's scanner takes, so it was not searched and not kept."
    ),
    Code.SITTING_CHANGED: _("Somebody changed this sitting at the same moment. Load the page again."),
    Code.FINAL_CHANGED: _("Somebody changed this final at the same moment. Load the page again."),
    Code.DELIVERY_CHANGED: _("Somebody changed this delivery at the same moment. Load the page again."),
    Code.ORDER_VERSION: _(
        "Delivery %(number)s, file %(file)s: its order has version %(version)s, which is unknown here."
    ),
    Code.ORDER_STRANGE: _(
        "Delivery %(number)s, file %(file)s: its order is not as this program writes them, at “%(field)s”."
    ),
    Code.JOB_BROKE: _("This work broke (%(error)s). Try again; if it stays so, look into the site's log."),
    Code.READ_AS_SRGB: _("The colours that the file names are not used; it is read as sRGB."),
    Code.VERSION_COLOURS: _("What its colours mean cannot be read, and a final's must be right; export it anew."),
    Code.ARRIVAL_LOST: _("It is no longer where it came in. Send it again."),
    Code.JOB_STOPPED: _("The worker was stopped in the middle of this, again and again."),
    Code.DISK_FULL: _("The disk is full. This goes on by itself once there is room."),
    Code.OUT_OF_REACH: _("Something this needs cannot be reached at the moment. It is tried again by itself."),
}
