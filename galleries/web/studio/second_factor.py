"""The page of one's second factor: an app that shows codes, passkeys, and recovery codes."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence

import segno
from django import forms
from django.conf import settings
from django.contrib import messages
from django.contrib.auth.models import User
from django.http import HttpRequest, HttpResponseBase, JsonResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_POST, require_safe

from galleries.access import Visitor
from galleries.errors import BadInput, Conflict, DomainError, Refused
from galleries.models import Studio
from galleries.steps.people import passkeys
from galleries.steps.people import second_factor as factors
from galleries.web import asking
from galleries.web.doors import count_try, signed_in
from galleries.web.studio.account import secret_field
from galleries.web.studio.forms import checked

QUIET_ZONE = 4  # modules of white around the picture (ISO/IEC 18004)
NO_STORE = "private, no-store"
NEW = "new-passkey"


class CodeForm(forms.Form):
    code = forms.CharField(
        label=gettext_lazy("Code"),
        max_length=60,
        widget=forms.TextInput(
            attrs={"autocomplete": "one-time-code", "autocapitalize": "none", "spellcheck": "false"}
        ),
    )


class ProofForm(CodeForm):
    """Once more who one is: by the password; by a code where there is none, but a second factor."""

    password = secret_field(gettext_lazy("Present password"), "current-password")

    def __init__(self, account: User, *args: object, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]
        has_password = account.has_usable_password()
        if not has_password:
            del self.fields["password"]
        if has_password or not factors.stands(account):
            del self.fields["code"]


class PasskeyForm(ProofForm):
    name = forms.CharField(
        label=gettext_lazy("Name of the device"),
        max_length=passkeys.NAME_LENGTH,
        help_text=gettext_lazy("So that you know it again in this list."),
    )
    field_order = ("name",)


class RemoveForm(ProofForm):
    """What goes, where there is more than one thing."""

    what = forms.ChoiceField(label=gettext_lazy("What goes"), required=False)
    field_order = ("what",)

    def __init__(self, account: User, *args: object, **kwargs: object) -> None:
        super().__init__(account, *args, **kwargs)
        standing = factors.standing(account)
        parts = [(f"passkey-{one.pk}", one.name) for one in standing.passkeys]
        if standing.app_since:
            parts.insert(0, ("app", _("The app that shows codes")))
        self.fields["what"].choices = [("", _("The whole second factor")), *parts]  # type: ignore[attr-defined]
        if len(parts) < 2 and not self.is_bound:
            del self.fields["what"]


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
    request: HttpRequest, user: User, *, problem: str = "", at: str = "", codes: Sequence[str] = ()
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
        "begin": ProofForm(row, auto_id="begin_%s"),
        "passkey": PasskeyForm(row, auto_id="passkey_%s"),
        "passkeys_possible": passkeys.possible(),
        "confirm": CodeForm(auto_id="confirm_%s"),
        "renew": ProofForm(row, auto_id="renew_%s"),
        "remove": RemoveForm(row, auto_id="remove_%s"),
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
        factors.begin(user, Visitor(user=user), **_proof(user, request.POST))
    except (BadInput, Conflict, Refused) as error:
        return _page(request, user, problem=str(error), at="begin")
    return redirect("second-factor")


@signed_in
@require_POST
def confirm(request: HttpRequest, user: User) -> HttpResponseBase:
    """The first code; the recovery codes are in the answer and nowhere else."""
    _try(request, user)
    try:
        code = checked(CodeForm(request.POST))["code"]
        codes = factors.confirm(user, Visitor(user=user), code=code, here=request.session.session_key or "")
    except DomainError as error:
        return _page(request, user, problem=str(error), at="confirm")
    messages.success(
        request, _("Signing in asks for a code now. Wherever else you were signed in, you are signed out.")
    )
    return _shown(request, user, codes)


@signed_in
@require_POST
def leave_off(request: HttpRequest, user: User) -> HttpResponseBase:
    factors.leave_off(user, Visitor(user=user))
    return redirect("second-factor")


@signed_in
@require_POST
def ask_passkey(request: HttpRequest, user: User) -> HttpResponseBase:
    """What the browser is to make a passkey for, as JSON; what was asked stays in the session."""
    _try(request, user)
    given = {name: str(value) for name, value in asking.body(request).items()}
    question, state = passkeys.ask_for_new(user, Visitor(user=user), **_proof(user, given))
    asking.keep(request, NEW, state)
    return JsonResponse(question, headers={"Cache-Control": NO_STORE})


@signed_in
@require_POST
def add_passkey(request: HttpRequest, user: User) -> HttpResponseBase:
    try:
        codes = passkeys.add(
            user,
            Visitor(user=user),
            state=asking.kept(request, NEW),
            answer=asking.answer(request),
            name=request.POST.get("name", ""),
            here=request.session.session_key or "",
        )
    except (BadInput, Conflict) as error:
        return _page(request, user, problem=str(error), at="passkey")
    messages.success(request, _("The passkey is kept. Wherever else you were signed in, you are signed out."))
    return _shown(request, user, codes)


def _shown(request: HttpRequest, user: User, codes: Sequence[str]) -> HttpResponseBase:
    """The page with recovery codes that are shown this once; without any, the page anew."""
    return _page(request, user, codes=codes) if codes else redirect("second-factor")


@signed_in
@require_POST
def new_codes(request: HttpRequest, user: User) -> HttpResponseBase:
    _try(request, user)
    try:
        codes = factors.new_recovery_codes(user, Visitor(user=user), **_proof(user, request.POST))
    except (BadInput, Conflict, Refused) as error:
        return _page(request, user, problem=str(error), at="renew")
    return _page(request, user, codes=codes)


@signed_in
@require_POST
def remove(request: HttpRequest, user: User) -> HttpResponseBase:
    _try(request, user)
    try:
        what = checked(RemoveForm(user, request.POST))["what"]
        proof, here = _proof(user, request.POST), request.session.session_key or ""
        factors.remove(user, Visitor(user=user), here=here, what=what, **proof)
    except (BadInput, Refused) as error:
        return _page(request, user, problem=str(error), at="remove")
    if factors.stands(user):
        messages.success(request, _("It is taken off. Wherever else you were signed in, you are signed out."))
    else:
        messages.success(request, _("The second factor is off. Wherever else you were signed in, you are signed out."))
    return redirect("second-factor")


def _proof(user: User, given: Mapping[str, str]) -> dict[str, str]:
    values = checked(ProofForm(user, given))
    return {"password": values.get("password", ""), "code": values.get("code", "")}
