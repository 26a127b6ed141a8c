"""What a file's content credentials say, as sentences for the reader of today."""

from __future__ import annotations

from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

from galleries.imaging.credentials.origin import FRAME_TITLE, VERSION_TITLE
from galleries.imaging.credentials.reading import Action, CredentialsRead
from galleries.words.lists import listed

# Actions of the C2PA specification that a picture meets; others are told by their own name.
ACTIONS = {
    "c2pa.created": _("made"),
    "c2pa.opened": _("opened"),
    "c2pa.edited": _("retouched"),
    "c2pa.orientation": _("turned"),
    "c2pa.cropped": _("cropped"),
    "c2pa.resized": _("resized"),
    "c2pa.adjustedColor": _("colours changed"),
    "c2pa.color_adjustments": _("colours changed"),
    "c2pa.drawing": _("border drawn"),
    "c2pa.addedText": _("text added"),
    "c2pa.enhanced": _("enhanced"),
    "c2pa.converted": _("kept in another format"),
    "c2pa.placed": _("another picture placed in it"),
}
SOURCES = {
    "digitalCapture": _("taken by a camera"),
    "humanEdits": _("by a person, without generative tools"),
    "algorithmicallyEnhanced": _("by a program, without generative tools"),
    "compositeWithTrainedAlgorithmicMedia": _("with a generative tool"),
    "trainedAlgorithmicMedia": _("wholly by a generative tool"),
}
NONE = _("It carries no content credentials, or they were taken out of it: nothing says where it comes from.")


def signed_by(name: str, *, own: bool) -> str:
    """`own`: this studio's certificate was made by itself."""
    if own:
        return (
            gettext(
                "Signed by this studio as “%s”, under a certificate of its own making: nobody else vouches for it, and "
                "other readers call its signer unknown."
            )
            % name
        )
    return gettext("Signed by this studio as “%s”.") % name


def sentences(told: CredentialsRead | None, signed_by: str = "") -> list[str]:
    """`signed_by`: what this studio knows of the certificate, as a sentence; '' where it is not one of its own."""
    if told is None:
        return [gettext(NONE)]
    if told.faults and not told.actions:
        return [gettext("It carries content credentials that cannot be read.")]
    lines = [_whole(told), signed_by or _signer(told)]
    if told.ended:
        lines.append(gettext("The certificate's time is over, so that other readers will not believe it."))
    if told.faults:
        lines.append(gettext("Something else in its credentials does not hold: %s.") % ", ".join(told.faults))
    if told.actions:
        lines.append(gettext("By its credentials it was %s.") % listed([_action(one) for one in told.actions]))
    lines += [
        gettext("Made from a file of SHA-256 %(digest)s (%(title)s).")
        % {"digest": one.sha256, "title": _title(one.title)}
        for one in told.ingredients
        if one.sha256
    ]
    return [_one_line(line) for line in lines]


def _whole(told: CredentialsRead) -> str:
    if told.changed:
        return gettext("The file was changed after it was signed: do not believe what its credentials say.")
    return gettext("The file is as it was when it was signed.")


def _signer(told: CredentialsRead) -> str:
    if not told.signer:
        return gettext("Signed by somebody unknown here.")
    return gettext("Signed by somebody unknown here, who goes by “%s”.") % told.signer


def _action(action: Action) -> str:
    name = gettext(ACTIONS[action.name]) if action.name in ACTIONS else action.name
    if not action.source:
        return name
    return f"{name} ({gettext(SOURCES[action.source]) if action.source in SOURCES else action.source})"


def _title(title: str) -> str:
    own = {FRAME_TITLE: gettext("the camera's file"), VERSION_TITLE: gettext("the retouched version")}
    return own.get(title, title)


def _one_line(text: str) -> str:
    """Safe to show: a file may hold control characters that would steer a terminal."""
    return "".join(c if c.isprintable() else "\ufffd" for c in " ".join(text.split()))
