"""'That was not me': where the letter about a new device leads."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import render
from django.views.decorators.http import require_http_methods

from galleries.errors import Missing
from galleries.steps.people import browsers, devices, new_devices
from galleries.web.doors import count_try, open_to_all


@open_to_all("the link is the key, and it is checked here")
@require_http_methods(["GET", "HEAD", "POST"])
def not_me(request: HttpRequest, token: str) -> HttpResponseBase:
    """Asks for one press, so that a mail scanner's visit does nothing."""
    if request.method == "HEAD":
        return HttpResponse()
    try:
        device = devices.answered(token)
        if request.method == "POST":
            new_devices.disown(token)
    except Missing:
        count_try(request, "not-me")
        raise
    context = {
        "done": request.method == "POST",
        "device": device,
        "browser": browsers.words(device.browser, device.system),
    }
    return render(request, "galleries/not_me.html", context)
