"""All addresses: the studio's admin, health, and the product."""

from django.contrib import admin
from django.urls import include, path

from galleries.web import entrance
from portal import health

urlpatterns = [
    path("upkeep/login/", entrance.upkeep_sign_in, name="upkeep-sign-in"),
    path("upkeep/", admin.site.urls),
    path("health/live", health.live, name="health-live"),
    path("health/ready", health.ready, name="health-ready"),
    path("", include("galleries.urls")),
]
