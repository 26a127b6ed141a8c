"""All that the sheet's page says beside its frames: plain values, by which the page is kept (`web.kept_page`)."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any, NamedTuple

from django.utils import translation

from galleries.access import Act, Visitor, may
from galleries.models import Look, Round, Sitting, Studio
from galleries.web.invitee import page
from galleries.web.invitee.shown import Strip
from galleries.web.kept_page import KeptPage
from galleries.web.range_words import may_err, orders


class OfStudio(NamedTuple):
    name: str
    email: str
    logo_key: str
    logo_digest: str


class OfSitting(NamedTuple):
    slug: str
    title: str
    stage: str
    deadline: date | None
    strikes_hide: bool
    objection_until: datetime | None  # asked for only where they may object


class OfPerson(NamedTuple):
    is_subject: bool
    is_representation: bool
    is_side: bool
    may_pass_on: bool
    is_through: bool


class OfLook(NamedTuple):
    pk: int
    title: str
    kept_from_representation: bool


class OfStrip(NamedTuple):
    number: int | None
    look: OfLook | None


class Closed(NamedTuple):
    closed_by: str
    closed_at: datetime | None


class Objected(NamedTuple):
    objected_by: str
    reason: str


class OfSheet(NamedTuple):
    """What the template reads, by the names that it reads it by."""

    studio: OfStudio
    sitting: OfSitting
    person: OfPerson | None
    tab_names: tuple[str, ...]
    strips: tuple[OfStrip, ...]
    may_mark: bool
    may_choose_looks: bool
    may_object: bool
    allowance: int
    extra_words: tuple[str, ...]
    closed_round: Closed | None
    objected: Objected | None
    kept_back: int
    pending: int
    order: str
    whole: bool
    whole_address: str


def of_visitor(visitor: Visitor, sitting: Sitting) -> dict[str, Any]:
    """Of the values: whose sheet it is, and what that person may."""
    studio, invite = Studio.current(), visitor.invite
    may_object = may(visitor, Act.OBJECT, sitting)
    person = None
    if invite is not None:
        through = invite.voice.picks_done_at is not None
        person = OfPerson(
            invite.is_subject, invite.is_representation, invite.is_side, bool(invite.may_pass_on), through
        )
    return {
        "studio": OfStudio(studio.name, studio.email, studio.logo_key, studio.logo_digest),
        "sitting": OfSitting(
            sitting.slug,
            sitting.title,
            sitting.stage,
            sitting.deadline,
            sitting.strikes_hide,
            sitting.objection_until if may_object else None,
        ),
        "person": person,
        "tab_names": page.tab_names(visitor, sitting),
        "may_mark": may(visitor, Act.MARK, sitting),
        "may_choose_looks": may(visitor, Act.CHOOSE_LOOKS, sitting),
        "may_object": may_object,
    }


def of_strips(strips: list[Strip]) -> tuple[OfStrip, ...]:
    return tuple(OfStrip(strip.film.number, _of_look(strip.film.look)) for strip in strips)


def _of_look(look: Look | None) -> OfLook | None:
    return OfLook(look.pk, look.title, look.kept_from_representation) if look is not None else None


def of_round(closed: Round | None, objected: Round | None) -> dict[str, Any]:
    """The round that was closed last, and the open one when an objection opened it."""
    return {
        "closed_round": closed and Closed(closed.closed_by, closed.closed_at),
        "objected": objected and Objected(objected.objected_by, objected.reason),
    }


def context(values: OfSheet) -> dict[str, Any]:
    """For the template."""
    is_subject = values.person is not None and values.person.is_subject
    return {
        **values._asdict(),
        "here": "sheet",
        "tabs": page.tabs(values.tab_names),
        "large_view": page.large_view(
            translation.get_language() or "", may_mark=values.may_mark, is_subject=is_subject
        ),
        "orders": orders(),
        "may_err": may_err() if values.order else "",
    }


kept: KeptPage[OfSheet] = KeptPage("galleries/invitee/sheet.html", context)
