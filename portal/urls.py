"""All addresses: the studio's admin, health, and the product."""

from django.contrib import admin
from django.urls import include, path

from portal import health

urlpatterns = [
    # First, since the product has its own door in place of the admin's.
    path("", include("galleries.urls")),
    path("upkeep/", admin.site.urls),
    path("health/live", health.live, name="health-live"),
    path("health/ready", health.ready, name="health-ready"),
]
