"""A photographer's own account."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.contrib.auth.models import User
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_POST, require_safe

from galleries.access import Visitor
from galleries.errors import BadInput, Conflict
from galleries.steps.people import account as accounts
from galleries.steps.people import second_factor, sessions
from galleries.steps.people.sign_ins import about_account
from galleries.web.doors import count_try, signed_in
from galleries.web.studio import journal_words
from galleries.web.studio.forms import checked

LINES = 20  # of what happened lately


def secret_field(label: object, complete: str, **more: object) -> forms.CharField:
    widget = forms.PasswordInput(attrs={"autocomplete": complete})
    return forms.CharField(label=label, widget=widget, strip=False, max_length=accounts.PASSWORD_LENGTH, **more)  # type: ignore[arg-type]


class DataForm(forms.ModelForm):  # type: ignore[type-arg]
    class Meta:
        model = User
        fields = ("first_name", "last_name", "email")
        widgets = {
            "first_name": forms.TextInput(attrs={"autocomplete": "given-name"}),
            "last_name": forms.TextInput(attrs={"autocomplete": "family-name"}),
        }

    email = forms.EmailField(
        label=gettext_lazy("E-mail"),
        max_length=254,
        widget=forms.EmailInput(attrs={"autocomplete": "email"}),
        help_text=gettext_lazy("Links to sign in go there."),
    )
    password = secret_field(
        gettext_lazy("Present password"),
        "current-password",
        required=False,
        help_text=gettext_lazy("Only for a new address."),
    )

    def __init__(self, *args: object, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]
        if not self.instance.has_usable_password():
            del self.fields["password"]


class PasswordForm(forms.Form):
    present = secret_field(gettext_lazy("Present password"), "current-password")
    new = secret_field(gettext_lazy("New password"), "new-password", help_text=gettext_lazy("12 characters or more."))
    again = secret_field(gettext_lazy("New password once more"), "new-password")

    def __init__(self, account: User, *args: object, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]
        if not account.has_usable_password():
            del self.fields["present"]


def _page(request: HttpRequest, user: User, problem: str = "", at: str = "", status: int = 200) -> HttpResponseBase:
    """`problem` stands in the form named by `at`; what was typed there is kept, passwords are not."""
    row = User.objects.get(pk=user.pk)
    posted = request.POST if at == "data" else None
    context = {
        "page": "account",
        "account": row,
        "data": DataForm(posted, instance=row, auto_id="data_%s"),
        "password": PasswordForm(row, auto_id="password_%s"),
        "has_password": row.has_usable_password(),
        "lines": [journal_words.line_of(one) for one in about_account(row)[:LINES]],
        "factor": second_factor.standing(row),
        "sessions": len(sessions.of_account(row)),
        "problem": problem,
        "at": at,
    }
    return render(request, "galleries/studio/account.html", context, status=status)


@signed_in
@require_safe
def account(request: HttpRequest, user: User) -> HttpResponseBase:
    """Name, address and password, each with a form of its own."""
    return _page(request, user)


@signed_in
@require_POST
def change_data(request: HttpRequest, user: User) -> HttpResponseBase:
    count_try(request, "present-password", str(user.pk))
    try:
        values = checked(DataForm(request.POST, instance=User.objects.get(pk=user.pk)))
        password = values.pop("password", "")
        accounts.change_data(user, Visitor(user=user), password=password, **values)
    except (BadInput, Conflict) as error:
        return _page(request, user, str(error), "data", 400)
    messages.success(request, _("Name and address are kept."))
    return redirect("account")


@signed_in
@require_POST
def change_password(request: HttpRequest, user: User) -> HttpResponseBase:
    """This browser stays signed in, under a new key of its session; every other one is signed out."""
    count_try(request, "present-password", str(user.pk))
    try:
        values = checked(PasswordForm(user, request.POST))
        present = values.get("present", "")
        here = request.session.session_key or ""
        accounts.change_password(
            user, Visitor(user=user), present=present, new=values["new"], again=values["again"], here=here
        )
    except BadInput as error:
        return _page(request, user, str(error), "password", 400)
    update_session_auth_hash(request, user)
    messages.success(request, _("The new password holds. Wherever else you were signed in, you are signed out."))
    return redirect("account")
