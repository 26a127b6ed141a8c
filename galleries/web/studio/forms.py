"""The studio's forms: what a person types, checked before a verb is called."""

from __future__ import annotations

import zoneinfo
from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from galleries.errors import BadInput
from galleries.models import Invite, Look, Sitting

DATE = {"type": "date"}
MOST = 2**53  # what every database and browser takes for a whole number
MOST_DAYS = 3650
MOST_FINALS = 999


def _days() -> forms.DateInput:
    return forms.DateInput(attrs=DATE, format="%Y-%m-%d")


class SittingForm(forms.ModelForm):  # type: ignore[type-arg]
    """All settings of a sitting."""

    class Meta:
        model = Sitting
        fields: tuple[str, ...] = (
            "title",
            "subject_given",
            "subject_surname",
            "held_on",
            "place",
            "allowance",
            "deadline",
            "time_zone",
            "plan",
            "subject_chooses_looks",
            "strikes_hide",
            "representation_approves",
            "suggestions_shown",
            "send_at_once",
            "retouch_by",
            "retoucher_terms",
            "answer_days",
            "objection_hours",
            "name_for_strip",
            "keep_until",
            "subject_is_minor",
            "guardian_name",
            "guardian_consent_on",
            "guardian_consent_note",
        )
        widgets = {
            "held_on": _days(),
            "deadline": _days(),
            "retouch_by": _days(),
            "retoucher_terms": forms.Textarea(attrs={"rows": 4}),
            "keep_until": _days(),
            "guardian_consent_on": _days(),
            "plan": forms.Textarea(attrs={"rows": 4}),
        }
        help_texts = {
            "objection_hours": gettext_lazy(
                "They begin when letters may go out. You may start to retouch meanwhile, and end the time yourself."
            ),
            "retouch_by": gettext_lazy("Whoever is invited as retoucher is reminded three days and one day before."),
            "retoucher_terms": gettext_lazy(
                "Accepted before anything is seen or fetched, and kept in these words. Empty: the studio's, or the "
                "house's. Plain words, no legal advice; have somebody who knows your law read them."
            ),
            "name_for_strip": gettext_lazy("Empty: the subject's name."),
            "guardian_consent_note": gettext_lazy("Nobody can be invited before name and day are here."),
        }

    def clean_time_zone(self) -> str:
        zone: str = self.cleaned_data["time_zone"]
        if zone not in zoneinfo.available_timezones():
            raise forms.ValidationError(_("“%s” is not a time zone; write one like Europe/Berlin.") % zone)
        return zone


class NewSittingForm(SittingForm):
    """What must be known to begin with; the rest can wait."""

    class Meta(SittingForm.Meta):
        fields: tuple[str, ...] = (
            "title",
            "subject_given",
            "subject_surname",
            "held_on",
            "place",
            "allowance",
            "deadline",
            "time_zone",
            "subject_is_minor",
        )


class LookForm(forms.ModelForm):  # type: ignore[type-arg]
    """A look with its set-up notes."""

    class Meta:
        model = Look
        fields = (
            *("title", "purpose", "treatment", "casting_kind", "wardrobe", "backdrop", "key_light", "fill", "rim"),
            *("modifier", "distance_cm", "gel", "gel_mired", "notes", "hidden", "kept_from_representation"),
        )
        widgets = {"notes": forms.Textarea(attrs={"rows": 3})}


class InviteForm(forms.ModelForm):  # type: ignore[type-arg]
    class Meta:
        model = Invite
        fields = ("role", "name", "email", "language", "may_pass_on")
        widgets = {"language": forms.Select()}

    letter = forms.BooleanField(
        label=gettext_lazy("Send the invitation by letter at once"), required=False, initial=True
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        from django.conf import settings

        choices = [("", _("the studio's"))] + [(code, str(name)) for code, name in settings.LANGUAGES]
        self.fields["language"] = forms.ChoiceField(label=_("Language"), choices=choices, required=False)
        self.fields["role"].choices = [("", _("choose")), *Invite.Role.choices]  # type: ignore[attr-defined]


def checked(form: forms.BaseForm) -> dict[str, Any]:
    """The cleaned values, or `BadInput` with one sentence that names the first field at fault."""
    if form.is_valid():
        return dict(form.cleaned_data)
    name, problems = next(iter(form.errors.items()))
    label = form.fields[name].label if name in form.fields else ""
    raise BadInput(f"{label}: {problems[0]}" if label else str(problems[0]))


def whole(value: object, what: str) -> int:
    """A whole number from a request.

    Raises:
        BadInput: it is none; `what` says what was expected.
    """
    number: int | None
    try:
        number = int(str(value))
    except ValueError:
        number = None
    if number is None or abs(number) > MOST:
        raise BadInput(_("“%(value)s” is no %(what)s.") % {"value": str(value)[:40], "what": what})
    return number


def days_from(text: str) -> int | None:
    """A number of days a person typed, 1 to ten years; None for an empty field.

    Raises:
        BadInput: something else.
    """
    if not text.strip():
        return None
    days = whole(text.strip(), _("number of days"))
    if not 1 <= days <= MOST_DAYS:
        raise BadInput(_("Give 1 to %d days.") % MOST_DAYS)
    return days
