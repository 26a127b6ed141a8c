"""The page of one's second factor: an app that shows codes, and recovery codes."""

from __future__ import annotations

import textwrap

import segno
from django import forms
from django.conf import settings
from django.contrib import messages
from django.contrib.auth.models import User
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_POST, require_safe

from galleries.access import Visitor
from galleries.errors import BadInput, Conflict, DomainError, Refused
from galleries.models import Studio
from galleries.steps.people import second_factor as factors
from galleries.web.doors import count_try, signed_in
from galleries.web.studio.account import secret_field
from galleries.web.studio.forms import checked

QUIET_ZONE = 4  # modules of white around the picture (ISO/IEC 18004)
NO_STORE = "private, no-store"


class CodeForm(forms.Form):
    code = forms.CharField(
        label=gettext_lazy("Code"),
        max_length=60,
        widget=forms.TextInput(
            attrs={"autocomplete": "one-time-code", "autocapitalize": "none", "spellcheck": "false"}
        ),
    )


class ProofForm(CodeForm):
    """Once more who one is: by the password, or by a code where there is no password."""

    password = secret_field(gettext_lazy("Present password"), "current-password")

    def __init__(self, account: User, *args: object, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]
        del self.fields["code" if account.has_usable_password() else "password"]


class BeginForm(ProofForm):
    def __init__(self, account: User, *args: object, **kwargs: object) -> None:
        super().__init__(account, *args, **kwargs)
        self.fields.pop("code", None)  # there is none yet


def drawn(text: str) -> dict[str, object]:
    """A QR code as one path of unit squares: `path`, and the picture's `side` with its white margin."""
    rows = segno.make(text, error="m").matrix
    path = "".join(
        f"M{x + QUIET_ZONE} {y + QUIET_ZONE}h1v1h-1z"
        for y, row in enumerate(rows)
        for x, dark in enumerate(row)
        if dark
    )
    return {"path": path, "side": len(rows) + 2 * QUIET_ZONE}


def _page(
    request: HttpRequest, user: User, *, problem: str = "", at: str = "", codes: list[str] | None = None
) -> HttpResponseBase:
    """`codes` are shown this once. `problem` stands in the form named by `at`."""
    row = User.objects.get(pk=user.pk)
    key = factors.key_of(row, Studio.current().name)
    context = {
        "page": "account",
        "standing": factors.standing(row),
        "required": settings.SECOND_FACTOR_REQUIRED,
        "key": " ".join(textwrap.wrap(key.secret, 4)) if key else "",
        "qr": drawn(key.address) if key else None,
        "address": key.address if key else "",
        "begin": BeginForm(row, auto_id="begin_%s"),
        "confirm": CodeForm(auto_id="confirm_%s"),
        "renew": ProofForm(row, auto_id="renew_%s"),
        "remove": ProofForm(row, auto_id="remove_%s"),
        "codes": codes,
        "problem": problem,
        "at": at,
    }
    response = render(request, "galleries/studio/second_factor.html", context, status=400 if problem else 200)
    response.headers["Cache-Control"] = NO_STORE
    return response


def _try(request: HttpRequest, user: User) -> None:
    count_try(request, "present-password", str(user.pk))


@signed_in
@require_safe
def second_factor(request: HttpRequest, user: User) -> HttpResponseBase:
    return _page(request, user)


@signed_in
@require_POST
def begin(request: HttpRequest, user: User) -> HttpResponseBase:
    _try(request, user)
    try:
        values = checked(BeginForm(user, request.POST))
        factors.begin(user, Visitor(user=user), password=values.get("password", ""))
    except (BadInput, Conflict) as error:
        return _page(request, user, problem=str(error), at="begin")
    return redirect("second-factor")


@signed_in
@require_POST
def confirm(request: HttpRequest, user: User) -> HttpResponseBase:
    """The first code; the recovery codes are in the answer and nowhere else."""
    _try(request, user)
    try:
        code = checked(CodeForm(request.POST))["code"]
        made = factors.confirm(user, Visitor(user=user), code=code, here=request.session.session_key or "")
    except DomainError as error:
        return _page(request, user, problem=str(error), at="confirm")
    messages.success(
        request, _("Signing in asks for a code now. Wherever else you were signed in, you are signed out.")
    )
    return _page(request, user, codes=made)


@signed_in
@require_POST
def new_codes(request: HttpRequest, user: User) -> HttpResponseBase:
    _try(request, user)
    try:
        made = factors.new_recovery_codes(user, Visitor(user=user), **_proof(user, request))
    except (BadInput, Conflict, Refused) as error:
        return _page(request, user, problem=str(error), at="renew")
    return _page(request, user, codes=made)


@signed_in
@require_POST
def remove(request: HttpRequest, user: User) -> HttpResponseBase:
    _try(request, user)
    stood = factors.stands(user)
    try:
        proof = _proof(user, request) if stood else {"password": "", "code": ""}
        factors.remove(user, Visitor(user=user), here=request.session.session_key or "", **proof)
    except (BadInput, Refused) as error:
        return _page(request, user, problem=str(error), at="remove")
    if stood:
        messages.success(request, _("The second factor is off. Wherever else you were signed in, you are signed out."))
    return redirect("second-factor")


def _proof(user: User, request: HttpRequest) -> dict[str, str]:
    values = checked(ProofForm(user, request.POST))
    return {"password": values.get("password", ""), "code": values.get("code", "")}
