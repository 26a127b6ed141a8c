"""The page of a copy for the subject: what is kept, who saw what when, and what the law of the Union says of it."""

from __future__ import annotations

from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db.models import Model, QuerySet
from django.template.loader import render_to_string
from django.utils import timezone, translation
from django.utils.translation import gettext_lazy as _

from galleries import models as m
from galleries.models import Verb
from galleries.models.journal import who_words
from galleries.steps.people.letters import KIND_WORDS

Rows = dict[str, list[dict[str, Any]]]


def page(copy: m.OwnCopy, rows: Rows, pictures: int) -> str:
    """In the person's language, with times by the sitting's clock; one file without anything from elsewhere."""
    sitting, person = copy.sitting, copy.invite
    language = person.language or settings.LANGUAGE_CODE
    with translation.override(language), timezone.override(ZoneInfo(sitting.time_zone)):
        return render_to_string(
            "galleries/own/page.html",
            {
                "copy": copy, "sitting": sitting, "person": person, "studio": m.Studio.current(),
                "language": translation.get_language(), "pictures": pictures,
                "tables": [(heading(name), len(entries)) for name, entries in rows.items() if entries],
                "studio_people": [one.get_full_name() or one.get_username() for one in _studio_people(sitting)],
                "invites": sitting.invites.order_by("pk"),
                "letters": [
                    {"at": one.sent_at, "kind": KIND_WORDS.get(one.kind, one.kind), "to": one.invite or _("the studio")}
                    for one in _letters(sitting)
                ],
                "fetched": [
                    *m.Receipt.objects.filter(delivery__sitting=sitting).order_by("pk"),
                    *sitting.retoucher_receipts.order_by("pk"),
                ],
                "papers": [
                    {"at": line.at, "who": who_words(line.who), "what": line.thing, "verb": line.verb_words}
                    for line in sitting.journal.filter(verb__in=[Verb.PAPER_FETCHED, Verb.OWN_COPY_FETCHED])
                ],
                "statements": sorted(_statements(sitting), key=lambda one: one["at"]),
                "licences": sitting.licences.order_by("number"),
            },
        )  # fmt: skip


def heading(table: str) -> str:
    model: type[Model] = getattr(m, table)
    return str(model._meta.verbose_name_plural)


def _letters(sitting: m.Sitting) -> QuerySet[m.Letter]:
    return m.Letter.objects.sent().filter(sitting=sitting).select_related("invite").order_by("sent_at")


def _studio_people(sitting: m.Sitting) -> list[Any]:
    return [sitting.photographer, *sitting.colleagues.order_by("pk")]


def _statements(sitting: m.Sitting) -> list[dict[str, Any]]:
    """What people wrote and decided, each with who, when and about which frame or look."""
    marks = m.Mark.objects.filter(frame__sitting=sitting).select_related("invite", "frame")
    remarks = m.Remark.objects.filter(frame__sitting=sitting).select_related("frame")
    comments = sitting.plan_comments.select_related("look")
    notes = m.PinnedNote.objects.filter(final__sitting=sitting).select_related("final__frame")
    words = m.Approval.objects.filter(version__final__sitting=sitting).select_related("version__final__frame")
    accepted = m.Acceptance.objects.filter(licence__sitting=sitting).select_related("licence")
    return [
        *(_line(one.acted_at, str(one.invite), one.frame.label, one.get_kind_display(), one.note) for one in marks),
        *(_line(one.created_at, one.who, one.frame.label, _("remark"), one.text) for one in remarks),
        *(_line(one.created_at, one.who, one.look or sitting, _("comment on the plan"), one.text) for one in comments),
        *(_line(one.created_at, one.who, one.final.frame.label, _("pinned note"), one.text) for one in notes),
        *(_line(one.at, one.who, one.version.final.frame.label, one.get_decision_display(), one.note) for one in words),
        *(_line(one.at, one.name, one.licence.number, Verb.LICENCE_ACCEPTED.label, "") for one in accepted),
        *(
            _line(one.asked_at, one.who, one.use, Verb.USE_ASKED_FOR.label, f"{one.details}\n{one.answer}".strip())
            for one in sitting.usage_requests.all()
        ),
    ]


def _line(at: datetime, who: str, about: object, what: object, text: str) -> dict[str, Any]:
    return {"at": at, "who": who, "about": str(about), "what": str(what), "text": text}
