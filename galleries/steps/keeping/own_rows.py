"""Whose each column of each table is, and the rows of one sitting as its subject may have them.

`TABLES` is the whole of it: a test fails when a table or column is not in it. What is said about the subject is the
subject's, whoever wrote it; an address, a language or a secret of somebody else is not.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from typing import Any
from uuid import UUID

from django.contrib.auth.models import User
from django.db import models

from galleries import models as m
from galleries.words.told import stored


class Whose(StrEnum):
    THEIRS = "the subject's"
    TOLD = "the subject's, kept by code and put into a sentence"
    OWN = "the subject's in a row of their own, somebody else's in the others: left out there"
    NAMED = "somebody else's, shortened to name and role"
    PICTURE = "a picture of the subject: where it lies in the archive"
    OTHERS = "somebody else's: left out"
    HOUSE = "of the house: how the program works, or a secret"


IN_THE_COPY = frozenset({Whose.THEIRS, Whose.TOLD, Whose.OWN, Whose.NAMED, Whose.PICTURE})


@dataclass(frozen=True)
class Table:
    """`way`: how its rows hang on the sitting; '' for a table none of whose rows is in the copy. `own`: the column that
    holds the person's invite, or their role, in a row of their own."""

    model: type[models.Model]
    way: str
    columns: dict[str, Whose]
    own: str = ""


def _table(model: type[models.Model], way: str = "", own_by: str = "", /, **columns: str) -> Table:
    kinds = {Whose[kind.upper()]: names.split() for kind, names in columns.items()}
    return Table(model, way, {name: kind for kind, names in kinds.items() for name in names}, own_by)


TABLES: tuple[Table, ...] = (
    _table(
        m.Sitting, "pk",
        theirs="""id slug title stage subject_given subject_surname held_on place plan allowance deadline time_zone
        subject_chooses_looks strikes_hide representation_approves subject_is_minor guardian_name guardian_consent_on
        guardian_consent_note name_for_strip current_look send_at_once suggestions_shown answer_days objection_hours
        retouch_by created_at published_at delivered_at put_away_from keep_until""",
        named="photographer colleagues",
        house="is_holding uid print_profile_key print_profile_name retoucher_terms tracer_key tracer_key_before change",
    ),
    _table(
        m.Look, "sitting",
        theirs="""id position title purpose treatment casting_kind wardrobe backdrop key_light fill rim modifier
        distance_cm gel gel_mired notes hidden kept_from_representation kept_by_subject made_by_program""",
        told="proposed_reason", house="sitting",
    ),
    _table(
        m.Frame, "sitting",
        theirs="""id look sha256 name number bytes file_format width height bits orientation profile profile_assumed
        camera captured_at shown sensor_width sensor_height added_at hidden suggested
        kept_by_subject placed_by_hand reading reading_version run run_place""",
        told="profile_unread", picture="key", house="sitting",
    ),
    _table(m.RawFile, "frame__sitting", theirs="id frame sha256 name bytes file_format added_at", house="key"),
    # Of a day of many sitters: the subject's own row without the agent's address; the others hang on other sittings.
    _table(m.Sitter, "sitting", theirs="id position language", own="email", named="agent_name", others="agent_email",
           house="day sitting code"),
    _table(m.DayFrame, "frame__sitting", theirs="id frame sight", house="code target left"),
    _table(
        m.Proof, "frame__sitting",
        theirs="id frame large_width large_height small_width small_height made_at",
        picture="large_key", house="recipe middle_key small_key",
    ),
    _table(m.Refusal, "sitting", theirs="id name bytes created_at", told="reason", house="sitting"),
    _table(
        m.Invite, "sitting", "pk",
        theirs="""id role name created_at expires_at revoked_at first_opened_at last_seen_at shut_before picks_done_at
        may_pass_on passed_from""",
        own="email language", house="sitting",
    ),
    _table(
        m.InviteLink, "invite__sitting", "invite_id",
        theirs="id created_at last_used_at ended_at", named="invite", house="token_hash",
    ),
    _table(m.Opening, "link__invite__sitting", theirs="id link at", house="device_hash"),
    _table(
        m.Letter, "sitting", "invite_id",
        theirs="id kind about sent_at created_at", named="invite", own="to text way", house="sitting",
    ),
    _table(
        m.Round, "sitting",
        theirs="id number reason opened_at closed_at objection_until",
        named="objected_by closed_by closed_by_invite closed_by_user", house="sitting",
    ),
    _table(
        m.ExtraTerms, "sitting",
        theirs="id source unit currency tax_rate tax_included payer waits_for_paid", house="sitting",
    ),
    _table(
        m.Statement, "sitting", "payer",
        theirs="id round number payer issued_at", own="content paid_at", others="paid_by", house="sitting restored",
    ),
    _table(
        m.Mark, "frame__sitting",
        theirs="id frame kind note note_for_studio acted_at revision created_at updated_at", named="invite by",
        house="act",
    ),
    _table(m.Standing, "frame__sitting", theirs="id frame place updated_at", named="invite"),
    _table(m.Remark, "frame__sitting", theirs="id frame text created_at", named="invite who"),
    _table(
        m.ReferencePicture, "sitting",
        theirs="id look caption created_at", named="brought_by", picture="key", house="sitting",
    ),
    _table(m.PlanComment, "sitting", theirs="id look text created_at", named="who invite", house="sitting"),
    _table(m.Final, "sitting", theirs="id frame round position on_list state brief from_camera_picture alt_text",
           house="sitting"),
    _table(
        m.Version, "final__sitting",
        theirs="id final number sha256 name bytes width height reading changes kind kind_stated added_at sent_at",
        told="matched_by geometry_caution", named="kind_said_by invite", picture="key proof_key",
    ),
    _table(
        m.Approval, "version__final__sitting", theirs="id version sha256 decision note for_retoucher at",
        named="who invite user",
    ),
    _table(
        m.PinnedNote, "final__sitting",
        theirs="id final version x y width height text done created_at", named="who invite",
    ),
    _table(
        m.StrayRetouch, "sitting",
        theirs="id sha256 name bytes created_at candidates", told="reason", named="invite", picture="key",
        house="sitting",
    ),
    _table(
        m.RetoucherAcceptance, "sitting",
        theirs="id at", named="invite name", house="sitting wording text",
    ),
    _table(
        m.RetoucherReceipt, "sitting",
        theirs="id name sha256 bytes holds started_at last_at fetches last_byte", named="invite who", house="sitting",
    ),
    _table(
        m.Crop, "final__sitting",
        theirs="id final size x y width height tilt frame_width frame_height by_hand updated_at",
        told="reasons", named="by", house="source_sha256",
    ),
    _table(m.Licence, "sitting", theirs="id number terms text addendum_to created_at", house="sitting"),
    _table(m.Acceptance, "licence__sitting", theirs="id licence at", named="invite name"),
    _table(
        m.UsageRequest, "sitting",
        theirs="id use details state answer addendum asked_at answered_at", named="invite who", house="sitting",
    ),
    _table(
        m.Delivery, "sitting",
        theirs="""id number licence state changed_only archive_name archive_sha256 archive_bytes expires_at created_at
        ready_at""",
        told="problem", house="sitting sizes orders archive_key passcode_hash",
    ),
    _table(
        m.DeliveredFile, "delivery__sitting",
        theirs="id delivery final size_slug name sha256 bytes width height", told="warnings", picture="key",
        house="recipe_sha256",
    ),
    _table(
        m.Receipt, "delivery__sitting",
        theirs="id delivery name started_at last_at fetches last_byte", named="invite who",
    ),
    _table(
        m.OwnCopy, "sitting", "invite_id",
        theirs="""id state with_originals days archive_name archive_bytes created_at ready_at expires_at
        first_fetched_at last_fetched_at""",
        named="invite", house="sitting problem holds archive_key archive_sha256",
    ),
    _table(
        m.JournalLine, "sitting",
        theirs="id at verb thing before after detail", named="who", house="sitting sitting_slug",
    ),
    _table(
        m.Undoable, "sitting",
        theirs="id verb before version done_at undone_at", named="who undone_by", house="sitting",
    ),
    # None of whose rows is in the copy. The studio's own words about itself stand on the copy's page.
    _table(
        m.Studio,
        house="""id name photographer email web telephone statement_of_rights letters_from letters_until
        casting_checked_on stamp_text stamp_strength stamp_with logo_key clauses clauses_number allowance
        sign_finals retoucher_terms
        caution_eyes caution_mouth caution_nose caution_width caution_chin caution_texture caution_skin
        caution_irises""",
    ),
    # The studio looks at a copy before it lets it go, and a second opinion is not the studio's to read: the subject
    # reads it on their own page, and removes it there.
    _table(
        m.SecondOpinion,
        house="id token_hash browsers for_representation said_at created_at ended_at",
        others="sitting asked_by name sentence",
    ),
    _table(m.OpinionFrame, house="id", others="opinion frame this_one"),
    _table(
        m.DeliverySize,
        house="""id slug title use width height ppi bleed border safe byte_cap file_format bits profile min_ppi
        name_strip quality source source_kind checked_on position chosen_first retired""",
    ),
    _table(
        m.Job,
        house="""id sitting kind thing recipe state reason again attempts setbacks not_before owner lease_until rung_at
        created_at done_at""",
    ),
    # Of a file on its way in; what it became is a frame or a refused file.
    _table(m.Arrival, house="id sitting kind sha256 bytes state upload reason created_at", others="user invite name"),
    _table(m.StatementBook, house="id last_number"),
    _table(m.SignInLink, house="id token_hash created_at expires_at used_at", others="user email sent_to"),
    _table(m.Day, house="id uid name held_on holding acts created_at"),
    _table(m.Leaving, house="id sitting never"),
    _table(m.Erasure, house="id uid number who why frames files begun_at done_at restore_begun_at"),
    _table(m.CodeApp, house="id secret created_at confirmed_at last_step wrong wrong_since", others="account"),
    _table(
        m.Passkey,
        house="id name credential id_hash sign_count created_at last_used_at", others="account",
    ),
    _table(m.RecoveryCode, house="id code_hash created_at used_at", others="account"),
    _table(m.StudioRole, house="id role", others="account"),
    _table(
        m.StudioSession,
        house="id key_hash way second network browser system began_at seen_at", others="account",
    ),
    _table(
        m.KnownDevice,
        house="id token_hash network browser system first_at last_at answer_hash", others="account",
    ),
    _table(m.AccountLetter, house="id device kind language created_at sent_at", others="to account"),
)  # fmt: skip
# Tables that are the framework's: none of their rows is in a copy, and why.
FRAMEWORK = {
    "admin.LogEntry": "what the studio's people did in the pages of upkeep",
    "auth.User": "the studio's people; their names stand where they did something",
    "auth.Group": "of the house",
    "auth.Permission": "of the house",
    "contenttypes.ContentType": "of the house",
    "sessions.Session": "who has come in at present: a secret, and gone when it ends",
}

PictureOf = Callable[[models.Model, str], str]


def rows(table: Table, sitting: m.Sitting, person: m.Invite, picture_of: PictureOf) -> Iterator[dict[str, Any]]:
    """The rows of one table as plain values, in the order of their numbers.

    `picture_of` says where the file that a column names lies in the archive ('' where it is not there).
    """
    of_sitting = table.model._base_manager.filter(**{table.way: sitting.pk}).order_by("pk")
    named = [field.name for field in table.model._meta.concrete_fields if field.is_relation]
    people = [name for name in named if table.columns[name] is Whose.NAMED]
    for row in of_sitting.select_related(*people) if people else of_sitting:
        own = not table.own or getattr(row, table.own) in {person.pk, person.role}
        yield {
            name: _value(row, name, kind, picture_of)
            for name, kind in table.columns.items()
            if kind in IN_THE_COPY and (own or kind is not Whose.OWN)
        }


def _value(row: models.Model, name: str, kind: Whose, picture_of: PictureOf) -> Any:
    if kind is Whose.PICTURE:
        return picture_of(row, name)
    field = row._meta.get_field(name)
    if field.many_to_many:
        linked = getattr(row, name).order_by("pk")
        return [_person(one) if kind is Whose.NAMED else one.pk for one in linked]
    value = getattr(row, name if kind is Whose.NAMED else field.attname)  # type: ignore[union-attr]
    if kind is Whose.TOLD:
        return [stored(one) for one in value] if isinstance(value, list) else stored(value)
    return _person(value) if kind is Whose.NAMED else _plain(value)


def _person(value: object) -> str:
    """Who it was, by name and role: never an address."""
    if isinstance(value, m.Invite):
        return f"{value.name} ({value.role})"
    if isinstance(value, User):
        return f"{value.get_full_name() or value.get_username()} (photographer)"
    return str(value or "")


def _plain(value: Any) -> Any:
    if isinstance(value, datetime | date):
        return value.isoformat()
    return value.hex if isinstance(value, UUID) else value
