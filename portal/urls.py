"""All addresses: the studio's admin, health, and the product."""

from django.contrib import admin
from django.urls import include, path

from portal import health

urlpatterns = [
    path("upkeep/", admin.site.urls),
    path("health/live", health.live, name="health-live"),
    path("health/ready", health.ready, name="health-ready"),
    path("", include("galleries.urls")),
]
