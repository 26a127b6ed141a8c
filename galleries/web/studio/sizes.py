"""Delivery sizes: where each comes from, when it was checked; added, copied, retired."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.contrib.auth.models import User
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.text import slugify
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from galleries import access
from galleries.access import Visitor
from galleries.errors import BadInput, Missing
from galleries.models import DeliverySize, Studio
from galleries.steps.delivering import sizes
from galleries.web.doors import signed_in
from galleries.web.studio import own_words


class SizeForm(forms.ModelForm):  # type: ignore[type-arg]
    class Meta:
        model = DeliverySize
        exclude = ("position", "retired")  # noqa: DJ006 - every other field is a person's to set
        widgets = {"checked_on": forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")}

    def clean(self) -> dict[str, object]:
        cleaned = super().clean() or {}
        if not self.errors:
            row = DeliverySize(**{name: value for name, value in cleaned.items() if name != "id"})
            try:
                sizes.spec(row)
            except BadInput as error:
                raise forms.ValidationError(str(error)) from error
        return dict(cleaned)


def _size(size_id: int) -> DeliverySize:
    size = DeliverySize.objects.filter(pk=size_id).first()
    if size is None:
        raise Missing(_("There is no such size."))
    return size


@signed_in
@require_safe
def sizes_page(request: HttpRequest, user: User) -> HttpResponseBase:
    rows = DeliverySize.objects.order_by("retired", "position", "pk")
    context = {"page": "studio-sizes", "sizes": rows, "mine": access.heads(user), "heads": own_words.heads()}
    return render(request, "galleries/studio/sizes.html", context)


@signed_in
@require_http_methods(["GET", "HEAD", "POST"])
def size_page(request: HttpRequest, user: User, size_id: int = 0) -> HttpResponseBase:
    """Change a size, or add one. A delivery keeps the numbers it was made with."""
    visitor = Visitor(user=user)
    size = _size(size_id) if size_id else None
    why = _("Delivery sizes are changed by whoever runs the studio.")
    access.require(visitor, access.Act.RUN_STUDIO, Studio.current(), why)
    form = SizeForm(request.POST or None, instance=size)
    if request.method == "POST" and form.is_valid():
        try:
            kept = sizes.keep_size(form.save(commit=False), visitor)
        except BadInput as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("“%s” is kept.") % kept.title)
            return redirect("studio-sizes")
    context = {"page": "studio-sizes", "form": form, "size": size}
    status = 400 if request.method == "POST" else 200
    return render(request, "galleries/studio/size.html", context, status=status)


@signed_in
@require_POST
def copy_size(request: HttpRequest, user: User, size_id: int) -> HttpResponseBase:
    size = _size(size_id)
    title = request.POST.get("title", "").strip() or _("Copy of %s") % size.shown_title
    slug = slugify(title)[:40]
    if not slug:
        raise BadInput(_("Give the copy a title with letters or digits."))
    copy = sizes.copy_size(size, Visitor(user=user), slug, title[:80])
    return redirect("studio-size", size_id=copy.pk)


@signed_in
@require_POST
def retire_size(request: HttpRequest, user: User, size_id: int) -> HttpResponseBase:
    sizes.retire_size(_size(size_id), Visitor(user=user), request.POST.get("retired", "1") == "1")
    return redirect("studio-sizes")
