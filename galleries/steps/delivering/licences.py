"""The licence of a sitting: drafted, composed in numbered wordings, accepted by name and time."""

from __future__ import annotations

import json
from dataclasses import replace

from django.db import IntegrityError, transaction
from django.db.models import Max
from django.utils import timezone
from django.utils.translation import gettext as _

from galleries import stages
from galleries.access import Act, Visitor, require
from galleries.errors import BadInput, Conflict
from galleries.models import Acceptance, Invite, JournalLine, Licence, Sitting, Studio, Verb
from galleries.papers.licence_fields import BadTerms
from galleries.papers.terms import LicenceTerms
from galleries.steps import clashes

# What a headshot is taken for (common practice, no source); the photographer changes it per sitting.
USUAL_USES = ("casting", "website", "representation", "social", "press", "print-own", "portfolio")
USUAL_ALTERATIONS = ("crop", "monochrome")


def current(sitting: Sitting) -> Licence | None:
    """The newest wording, addenda included."""
    return sitting.licences.order_by("-number").first()


def in_force(licence: Licence) -> Licence:
    """The wording with every addendum to it: the newest of them, or the licence itself."""
    return licence.addenda.order_by("-number").first() or licence


def terms_of(licence: Licence) -> LicenceTerms:
    return LicenceTerms.from_json(json.dumps(licence.terms))


def draft(sitting: Sitting) -> LicenceTerms:
    """Terms to start from: those in force, else what is usual, with the names the sitting knows.

    The studio's own clauses are those of today; a wording that was given keeps its own.
    """
    last, studio = current(sitting), Studio.current()
    clauses, number = tuple(studio.clauses.splitlines()), studio.clauses_number if studio.clauses else 0
    if last is not None:
        return replace(terms_of(last), version=last.number + 1, clauses=clauses, clauses_number=number)
    agent = sitting.invites.unrevoked().filter(role=Invite.Role.REPRESENTATION).order_by("pk").first()
    return LicenceTerms(
        licence_id=f"{sitting.slug}-{sitting.uid.hex[:6]}",
        photographer=studio.photographer or sitting.photographer.get_full_name() or sitting.photographer.get_username(),
        subject=sitting.subject_name,
        uses=USUAL_USES,
        starts=sitting.held_on or timezone.localdate(),
        studio=studio.name,
        representation=agent.name if agent is not None else "",
        credit_line=studio.photographer,
        alterations=USUAL_ALTERATIONS,
        is_minor=sitting.subject_is_minor,
        guardian=sitting.guardian_name,
        guardian_consent_on=sitting.guardian_consent_on,
        contact_email=studio.email,
        contact_url=studio.web,
        contact_telephone=studio.telephone,
        web_statement=studio.statement_of_rights,
        clauses=clauses,
        clauses_number=number,
    )


def compose(sitting: Sitting, terms: LicenceTerms, by: Visitor) -> Licence:
    """Put the terms down as the sitting's next wording; the ones before stay as they are.

    Raises:
        Refused: not this person's to do.
        BadInput: the terms contradict themselves; every reason is named.
    """
    require(by, Act.RUN, sitting, _("The licence is the photographer's to write."))
    return write(sitting, terms, by, Verb.LICENCE_WRITTEN)


def write(
    sitting: Sitting, terms: LicenceTerms, by: Visitor, verb: Verb, addendum_to: Licence | None = None
) -> Licence:
    require(by, Act.RUN, sitting, _("The licence is the photographer's to write."))
    try:
        with transaction.atomic():
            number = (sitting.licences.aggregate(last=Max("number"))["last"] or 0) + 1
            numbered = replace(terms, version=number)
            numbered.validate()
            licence = Licence.objects.create(
                sitting=sitting,
                number=number,
                terms=json.loads(numbered.to_json()),
                text="\n".join(numbered.sentences()),
                addendum_to=addendum_to,
            )
            stages.touch(sitting)
            JournalLine.write(sitting, by.who, verb, f"licence {number}")
    except BadTerms as error:
        raise BadInput(error.told) from error
    except IntegrityError as error:
        if not clashes.at_once(error):
            raise
        raise Conflict(_("Somebody wrote a licence at the same moment. Load the page again.")) from error
    return licence


def accept(licence: Licence, by: Visitor, name: str) -> Acceptance:
    """The recipient accepts a wording by typing a name. Again changes nothing.

    Raises:
        Refused: nobody accepts for somebody else.
        BadInput: no name.
    """
    require(
        by,
        Act.ACCEPT_LICENCE,
        licence.sitting,
        _("A licence is accepted by the people it is given to, each for themselves."),
    )
    name = " ".join(name.split())[:120]
    if not name:
        raise BadInput(_("Type your name to accept the licence."))
    with transaction.atomic():
        acceptance, is_new = Acceptance.objects.get_or_create(
            licence=licence, invite=by.invite, defaults={"name": name}
        )
        if is_new:
            stages.touch(licence.sitting)
            JournalLine.write(licence.sitting, by.who, Verb.LICENCE_ACCEPTED, f"licence {licence.number}", name=name)
    return acceptance


def has_accepted(licence: Licence, person: Invite) -> bool:
    """Has this person accepted the wording? An addendum only adds uses: the licence it adds to is enough."""
    wordings = [licence.pk] + ([licence.addendum_to_id] if licence.addendum_to_id else [])
    return Acceptance.objects.filter(licence__in=wordings, invite=person).exists()
