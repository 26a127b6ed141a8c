"""Below /s/<slug>/: what somebody invited sees."""

from __future__ import annotations

from django.urls import URLPattern

urlpatterns: list[URLPattern] = []
