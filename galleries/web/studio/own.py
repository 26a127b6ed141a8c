"""The studio's own page: what it is called, what it stamps with, how its letters go, who works in it."""

from __future__ import annotations

from typing import Any

from django import forms
from django.conf import settings
from django.contrib import messages
from django.contrib.auth.models import User
from django.http import HttpRequest, HttpResponse, HttpResponseBase, JsonResponse
from django.shortcuts import redirect, render
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_POST, require_safe

from galleries import access
from galleries.access import Visitor
from galleries.errors import BadInput, Missing
from galleries.imaging.comparing.amounts import USUAL
from galleries.models import DeliverySize, Studio, StudioRole
from galleries.steps.agreeing import extras
from galleries.steps.delivering import certificate, sizes
from galleries.steps.people import colleagues, composing, mail, mail_test
from galleries.steps.people import studio as studios
from galleries.web import extra_words
from galleries.web.doors import count_try, signed_in
from galleries.web.studio import letter_words, own_words
from galleries.web.studio.extra_forms import PriceForm, as_typed
from galleries.web.studio.forms import MOST_FINALS, checked


class OwnForm(forms.ModelForm):  # type: ignore[type-arg]
    """Fields that are declared for more than their column says still carry the column's name."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        columns = {column.name: column for column in Studio._meta.concrete_fields}
        for name, field in self.fields.items():
            if field.label is None:
                field.label = capfirst(str(columns[name].verbose_name))


class DataForm(OwnForm):
    class Meta:
        model = Studio
        fields = (
            *("name", "photographer", "email", "telephone", "web", "statement_of_rights"),
            *("letters_from", "letters_until"),
        )
        help_texts = {
            "name": gettext_lazy("On every page and letter, and in the stamp unless you write another text there."),
            "photographer": gettext_lazy("Who signs licences and print releases."),
            "email": gettext_lazy("Answers to letters go there."),
            "letters_until": gettext_lazy("By each sitting's own clock. Letters somebody asks for go at once."),
        }

    web = forms.URLField(required=False, assume_scheme="https")
    statement_of_rights = forms.URLField(required=False, assume_scheme="https")


class StampForm(OwnForm):
    class Meta:
        model = Studio
        fields = ("stamp_with", "stamp_text", "stamp_strength")
        widgets = {"stamp_with": forms.RadioSelect, "stamp_strength": forms.RadioSelect}
        help_texts = {"stamp_text": gettext_lazy("Empty: the studio's name. The word PROOF always stands behind it.")}


class ClausesForm(OwnForm):
    """What the studio adds to every licence."""

    class Meta:
        model = Studio
        fields = ("clauses",)
        widgets = {"clauses": forms.Textarea(attrs={"rows": 6, "lang": "en"})}
        help_texts = {
            "clauses": gettext_lazy(
                "A line each, in English as the licence is. They stand in every licence written from now on; one that "
                "was given keeps its text. Have somebody who knows the law read them."
            )
        }


class CautionsForm(OwnForm):
    """From which change of a face a retouch is cautioned."""

    class Meta:
        model = Studio
        fields = tuple(f"caution_{kind}" for kind in USUAL)


class BeginningsForm(OwnForm):
    """What a new sitting begins with."""

    class Meta:
        model = Studio
        fields = ("allowance", "retoucher_terms")
        widgets = {"retoucher_terms": forms.Textarea(attrs={"rows": 6})}
        help_texts = {
            "retoucher_terms": gettext_lazy(
                "A retoucher accepts them before anything is seen or fetched. Empty: the house's words "
                "(confidential, for this work only, nothing into services that learn from pictures, deleted "
                "afterwards). A sitting may have its own."
            )
        }

    allowance = forms.IntegerField(min_value=0, max_value=MOST_FINALS)
    usual = forms.ModelMultipleChoiceField(
        label=gettext_lazy("Sizes chosen for a new delivery"),
        queryset=DeliverySize.objects.offered(),
        widget=forms.CheckboxSelectMultiple,
        required=False,
    )


class SigningForm(OwnForm):
    """Whether finals are signed with where they come from."""

    class Meta:
        model = Studio
        fields = ("sign_finals",)
        help_texts = {
            "sign_finals": gettext_lazy(
                "Into every file of a delivery made from now on. It names no person, takes about 13 kB, and makes no "
                "other picture of it."
            )
        }


class ColleagueForm(forms.Form):
    name = forms.CharField(label=gettext_lazy("Name"), max_length=150)
    email = forms.EmailField(label=gettext_lazy("E-mail"), max_length=254)
    role = forms.ChoiceField(
        label=gettext_lazy("Role"), choices=StudioRole.Role.choices, initial=StudioRole.Role.PHOTOGRAPHER
    )


def _forms(studio: Studio) -> dict[str, forms.BaseForm]:
    usual = DeliverySize.objects.offered().filter(chosen_first=True)
    return {
        "data": DataForm(instance=studio, auto_id="data_%s"),
        "stamp": StampForm(instance=studio, auto_id="stamp_%s"),
        "clauses": ClausesForm(instance=studio, auto_id="clauses_%s"),
        "cautions": CautionsForm(instance=studio, auto_id="cautions_%s"),
        "beginnings": BeginningsForm(instance=studio, initial={"usual": usual}, auto_id="beginnings_%s"),
        "signing": SigningForm(instance=studio, auto_id="signing_%s"),
        "extras": PriceForm(initial=as_typed(extras.usual()), auto_id="extras_%s"),
        "colleague": ColleagueForm(auto_id="colleague_%s"),
    }


def _page(request: HttpRequest, user: User, status: int = 200, **more: Any) -> HttpResponseBase:
    studio = Studio.current()
    context = {
        "page": "studio-own",
        "own": studio,
        "mine": access.heads(user),
        "heads": own_words.heads(),
        "forms": _forms(studio),
        "extra_price": extra_words.price(extras.price_of(extras.usual()), studio.allowance),
        "stamping": studios.stamping(),
        "sender": composing.sender(studio),
        "goes_out": mail.goes_out(),
        "server": settings.EMAIL_HOST,
        "address": settings.BASE_URL,
        "only_here": mail.is_this_machine(settings.BASE_URL),
        "account": user,
        "people": own_words.people(user),
        "certificate": certificate.current(),
        **more,
    }
    return render(request, "galleries/studio/own.html", context, status=status)


@signed_in
@require_safe
def own_page(request: HttpRequest, user: User) -> HttpResponseBase:
    return _page(request, user)


def _kept(request: HttpRequest, user: User, form: forms.ModelForm, sentence: str) -> HttpResponseBase:  # type: ignore[type-arg]
    """Call the verb with what the form made of the row. What cannot be kept stays in the form (`kept_form`)."""
    checked(form)
    studios.change(form.instance, Visitor(user=user))
    messages.success(request, sentence)
    return redirect("studio-own")


@signed_in
@require_POST
def own_data(request: HttpRequest, user: User) -> HttpResponseBase:
    form = DataForm(request.POST, instance=Studio.current())
    return _kept(request, user, form, _("The studio's data are kept."))


@signed_in
@require_POST
def own_stamp(request: HttpRequest, user: User) -> HttpResponseBase:
    form = StampForm(request.POST, instance=Studio.current())
    return _kept(request, user, form, _("The stamp is kept. Proofs are stamped anew where it changed."))


@signed_in
@require_safe
def stamp_sample(request: HttpRequest, user: User) -> HttpResponseBase:
    """How the stamp would look with what stands in the form now (?stamp_with, stamp_text, stamp_strength)."""
    studio = Studio.current()
    kept = {name: getattr(studio, name) for name in StampForm.Meta.fields}
    form = StampForm({**kept, **request.GET.dict()}, instance=studio)
    checked(form)
    response = HttpResponse(studios.sample(form.instance, Visitor(user=user)), content_type="image/jpeg")
    response.headers["Cache-Control"] = "private, no-store"
    return response


@signed_in
@require_POST
def own_logo(request: HttpRequest, user: User) -> HttpResponseBase:
    """The logo is brought in or, with do = drop, taken off."""
    by = Visitor(user=user)
    if request.POST.get("do") == "drop":
        studios.drop_logo(by)
        messages.success(request, _("The logo is taken off."))
        return redirect("studio-own")
    upload = request.FILES.get("logo")
    studios.bring_logo(by, upload.read(studios.LOGO_BYTES + 1) if upload is not None else b"")
    messages.success(request, _("The logo is kept. It stands at the head of every page."))
    return redirect("studio-own")


@signed_in
@require_POST
def own_clauses(request: HttpRequest, user: User) -> HttpResponseBase:
    form = ClausesForm(request.POST, instance=Studio.current())
    return _kept(request, user, form, _("The clauses are kept, for licences written from now on."))


@signed_in
@require_POST
def own_signing(request: HttpRequest, user: User) -> HttpResponseBase:
    form = SigningForm(request.POST, instance=Studio.current())
    return _kept(request, user, form, _("That is kept, for deliveries made from now on."))


@signed_in
@require_safe
def stamp_progress(request: HttpRequest, user: User) -> HttpResponseBase:
    now = studios.stamping()
    return JsonResponse(
        {
            "done": now.done,
            "of": now.of,
            "state": "waiting" if now.at_work else "done",
            "words": _("being stamped anew") if now.at_work else _("all done"),
        }
    )


@signed_in
@require_POST
def own_cautions(request: HttpRequest, user: User) -> HttpResponseBase:
    form = CautionsForm(request.POST, instance=Studio.current())
    return _kept(request, user, form, _("The thresholds are kept. Retouches that are here are judged by them too."))


@signed_in
@require_POST
def own_beginnings(request: HttpRequest, user: User) -> HttpResponseBase:
    form = BeginningsForm(request.POST, instance=Studio.current())
    usual = checked(form)["usual"]
    studios.change(form.instance, Visitor(user=user))
    sizes.choose_usual([size.pk for size in usual], Visitor(user=user))
    messages.success(request, _("New sittings begin with that. Those there are stay as they are."))
    return redirect("studio-own")


@signed_in
@require_POST
def own_extras(request: HttpRequest, user: User) -> HttpResponseBase:
    extras.set_usual(Visitor(user=user), **checked(PriceForm(request.POST)))
    messages.success(request, _("Kept. It holds for every sitting without a price of its own."))
    return redirect("studio-own")


@signed_in
@require_POST
def own_mail(request: HttpRequest, user: User) -> HttpResponseBase:
    """Send a test letter to whoever pressed, and say what came of it."""
    count_try(request, "test-letter", str(user.pk))
    tried = mail_test.send_test(Visitor(user=user))
    if tried.problem:
        return _page(request, user, status=409, mail_problem=tried.problem, mail_answer=tried.answer)
    if mail.goes_out():
        sentence = (
            _("The mail server took the letter to %s. Look whether it is there, among unwanted mail too.") % tried.to
        )
        messages.success(request, sentence)
    else:
        messages.warning(request, letter_words.where_it_lies())
    return redirect("studio-own")


@signed_in
@require_POST
def invite_colleague(request: HttpRequest, user: User) -> HttpResponseBase:
    person = colleagues.invite(Visitor(user=user), **checked(ColleagueForm(request.POST)))
    messages.success(request, letter_words.going(person.get_full_name()))
    return redirect("studio-own")


@signed_in
@require_POST
def change_colleague(request: HttpRequest, user: User, account_id: int) -> HttpResponseBase:
    """Give a role, hand a link over, shut the account or open it again."""
    account = User.objects.filter(pk=account_id).first()
    if account is None:
        raise Missing(_("There is no such account."))
    by, do = Visitor(user=user), request.POST.get("do", "")
    name = Visitor(user=account).name
    if do == "link":
        return _page(request, user, link=colleagues.link_for(account, by), link_of=name)
    if do == "role":
        colleagues.give_role(account, by, request.POST.get("role", ""))
        messages.success(request, _("%s has another role now.") % name)
    elif do == "end":
        colleagues.end(account, by, _heir(request))
        messages.success(request, _("The account of %s is shut, wherever they were signed in.") % name)
    elif do == "back":
        colleagues.bring_back(account, by)
        messages.success(request, _("%s may come in again.") % name)
    else:
        raise BadInput(_("A colleague gets a role or a link, or their account is shut or opened again."))
    return redirect("studio-own")


def _heir(request: HttpRequest) -> User | None:
    wanted = request.POST.get("heir", "")
    return User.objects.filter(pk=int(wanted), is_active=True).first() if wanted.isdecimal() else None
