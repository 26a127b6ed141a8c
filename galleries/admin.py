"""The studio's upkeep: every table, the journal to read only. Work on a sitting is done on its own pages."""

from __future__ import annotations

from typing import Any

from django.contrib import admin
from django.db import models
from django.http import HttpRequest
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from galleries.access import Visitor
from galleries.models import (
    Acceptance,
    AccountLetter,
    Approval,
    Arrival,
    CodeApp,
    Crop,
    Day,
    DayFrame,
    DeliveredFile,
    Delivery,
    DeliverySize,
    Erasure,
    ExtraTerms,
    Final,
    Frame,
    Invite,
    InviteLink,
    Job,
    JournalLine,
    KnownDevice,
    Leaving,
    Letter,
    Licence,
    Look,
    Mark,
    Opening,
    OpinionFrame,
    OwnCopy,
    Passkey,
    PinnedNote,
    PlanComment,
    Proof,
    RawFile,
    Receipt,
    RecoveryCode,
    ReferencePicture,
    Refusal,
    Remark,
    RetoucherAcceptance,
    RetoucherReceipt,
    Round,
    SecondOpinion,
    SignInLink,
    Sitter,
    Sitting,
    Standing,
    Statement,
    StatementBook,
    StrayRetouch,
    Studio,
    StudioRole,
    StudioSession,
    Undoable,
    UsageRequest,
    Version,
)
from galleries.web.doors import user_of

admin.site.site_header = gettext_lazy("Upkeep: for the operator of this site only")


class Upkeep(admin.ModelAdmin):  # type: ignore[type-arg]
    """Opens by the permission of upkeep, for the whole of the product; accounts and their rights are a superuser's."""

    def _may(self, request: HttpRequest) -> bool:
        return request.user.has_perm("galleries.upkeep")

    def has_module_permission(self, request: HttpRequest) -> bool:
        return self._may(request)

    def has_view_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return self._may(request)

    def has_add_permission(self, request: HttpRequest) -> bool:
        return self._may(request)

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return self._may(request)

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return self._may(request)


class ReadOnly(Upkeep):
    """To look at. What is written here is a record of acts, or made by the program."""

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False


def _look_at(
    model: type[models.Model],
    *shown: str,
    filters: tuple[str, ...] = (),
    search: tuple[str, ...] = (),
    but: tuple[str, ...] = (),
) -> None:
    """`but` names columns that nobody is shown."""
    fields = {"list_display": shown, "list_filter": filters, "search_fields": search, "show_full_result_count": False}
    fields["exclude"] = but
    admin.site.register(model, type(f"{model.__name__}Admin", (ReadOnly,), fields))


# Records: who said, got or did what. Nobody edits them, not even here.
_look_at(JournalLine, "at", "sitting_slug", "who", "verb", "thing", filters=("verb",), search=("sitting_slug", "who"))
_look_at(Leaving, "sitting")
_look_at(Undoable, "done_at", "sitting", "who", "verb", "undone_at", "undone_by", filters=("verb",))
_look_at(OwnCopy, "sitting", "invite", "state", "created_at", "ready_at", "expires_at", filters=("state",))
_look_at(Erasure, "begun_at", "uid", "who", "why", "done_at", "restore_begun_at")
_look_at(Mark, "frame", "invite", "kind", "acted_at", filters=("kind",), search=("frame__name", "invite__name"))
_look_at(Standing, "invite", "frame", "place")
_look_at(Remark, "frame", "who", "text", "created_at", search=("text", "who"))
_look_at(Round, "sitting", "number", "opened_at", "closed_at", "closed_by", "objected_by", "objection_until")
_look_at(Approval, "version", "decision", "who", "at", filters=("decision",))
_look_at(Acceptance, "licence", "name", "at", search=("name",))
_look_at(Receipt, "delivery", "who", "name", "last_at", "fetches", search=("who", "name"))
# Whose it is and what was said is shown to nobody here, not even to the operator.
_look_at(SecondOpinion, "sitting", "created_at", "ended_at", but=("name", "sentence", "token_hash", "said_at"))
_look_at(OpinionFrame, "pk", but=("this_one", "frame"))
_look_at(RetoucherAcceptance, "sitting", "name", "at", search=("name",))
_look_at(RetoucherReceipt, "sitting", "who", "name", "last_at", "fetches", search=("who", "name"))
_look_at(Licence, "sitting", "number", "created_at", search=("sitting__slug",))
_look_at(UsageRequest, "sitting", "use", "who", "state", "asked_at", filters=("state",))
_look_at(Statement, "number", "sitting", "payer", "issued_at", "paid_at", filters=("payer",))
_look_at(StatementBook, "last_number")
_look_at(ExtraTerms, "sitting", "source", "unit", "currency", "payer", "waits_for_paid")
_look_at(Delivery, "sitting", "number", "state", "ready_at", filters=("state",))
_look_at(DeliveredFile, "name", "delivery", "bytes", "sha256", search=("name", "sha256"))
_look_at(Version, "final", "number", "name", "added_at", search=("name", "sha256"))
_look_at(Crop, "final", "size", "by_hand", "updated_at")
_look_at(Final, "sitting", "frame", "state", "on_list", filters=("state", "on_list"))
_look_at(Frame, "name", "sitting", "look", "captured_at", "hidden", filters=("hidden",), search=("name", "sha256"))
_look_at(RawFile, "name", "frame", "bytes", search=("name", "sha256"))
_look_at(Day, "name", "held_on", "holding", "created_at")
_look_at(Sitter, "day", "sitting", "position", search=("sitting__slug",))
_look_at(DayFrame, "frame", "sight", "target", filters=("sight",))
_look_at(Proof, "frame", "recipe", "made_at")
_look_at(PinnedNote, "final", "version", "who", "text", "done", filters=("done",))
_look_at(StrayRetouch, "sitting", "name", "reason")
_look_at(Arrival, "sitting", "kind", "name", "bytes", "state", "reason", "created_at", but=("upload",))
_look_at(Refusal, "sitting", "name", "reason", "created_at")
_look_at(PlanComment, "sitting", "who", "text", "created_at")
_look_at(ReferencePicture, "sitting", "caption", "brought_by")
_look_at(Letter, "kind", "to", "sitting", "sent_at", filters=("kind",), search=("to",))
_look_at(AccountLetter, "kind", "to", "account", "sent_at", filters=("kind",), search=("to",))
_look_at(InviteLink, "invite", "created_at", "last_used_at", "ended_at")
_look_at(Opening, "link", "at", but=("device_hash",))
_look_at(SignInLink, "user", "email", "created_at", "used_at")
_look_at(StudioRole, "account", "role")
_look_at(StudioSession, "account", "way", "second", "browser", "system", "began_at", "seen_at", but=("key_hash",))
_look_at(
    KnownDevice, "account", "browser", "system", "network", "first_at", "last_at", but=("token_hash", "answer_hash")
)
_look_at(CodeApp, "account", "created_at", "confirmed_at", but=("secret",))
_look_at(Passkey, "account", "name", "created_at", "last_used_at", but=("credential", "id_hash"))
_look_at(RecoveryCode, "account", "created_at", "used_at", but=("code_hash",))


@admin.register(Studio)
class StudioAdmin(Upkeep):
    list_display = ("name", "photographer", "email")
    formfield_overrides = {models.URLField: {"assume_scheme": "https"}}

    def save_model(self, request: HttpRequest, obj: Studio, form: Any, change: bool) -> None:
        from galleries.steps.people import studio  # every command loads this module, few need what stamps

        studio.change(obj, Visitor(user=user_of(request)))

    def has_add_permission(self, request: HttpRequest) -> bool:
        return super().has_add_permission(request) and not Studio.objects.exists()

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False


@admin.register(Sitting)
class SittingAdmin(Upkeep):
    """Who works on it. Its stage changes on its pages only; it goes by erasing, which leaves a record."""

    list_display = ("title", "slug", "photographer", "stage", "held_on")
    list_filter = ("stage",)
    search_fields = ("title", "slug", "subject_given", "subject_surname")
    filter_horizontal = ("colleagues",)
    readonly_fields = ("slug", "stage", "current_look")

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False


@admin.register(Look)
class LookAdmin(Upkeep):
    list_display = ("title", "sitting", "purpose", "hidden")
    list_filter = ("purpose",)
    search_fields = ("title", "sitting__slug")
    readonly_fields = ("sitting", "proposed_why")
    exclude = ("proposed_reason",)

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False


@admin.register(Invite)
class InviteAdmin(Upkeep):
    """Name and address may be put right; who is let in is decided on the sitting's page."""

    list_display = ("name", "role", "email", "sitting", "expires_at", "revoked_at")
    list_filter = ("role",)
    search_fields = ("name", "email", "sitting__slug")
    fields = ("name", "email", "language", "sitting", "role", "expires_at", "revoked_at")
    readonly_fields = ("sitting", "role", "expires_at", "revoked_at")

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False


@admin.register(DeliverySize)
class DeliverySizeAdmin(Upkeep):
    list_display = ("title", "use", "width", "height", "source", "source_kind", "checked_on", "retired")
    list_filter = ("use", "retired", "source_kind")
    list_editable = ("checked_on", "retired")
    search_fields = ("title", "slug")


@admin.register(Job)
class JobAdmin(Upkeep):
    """Work of the worker; failed pieces can be listed again."""

    list_display = ("kind", "thing", "sitting", "state", "attempts", "why", "created_at")
    list_filter = ("state", "kind")
    actions = ("list_again",)

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    @admin.action(description=gettext_lazy("List the chosen failed work again"), permissions=["view"])
    def list_again(self, request: HttpRequest, queryset: Any) -> None:
        from galleries.steps import jobs

        failed = list(queryset.filter(state=Job.State.FAILED))
        for job in failed:
            jobs.enqueue(job.kind, job.thing, job.sitting, recipe=job.recipe, again=True)
        self.message_user(request, _("%d listed again.") % len(failed))
