"""All addresses: the product's, and the operator's admin."""

from django.contrib import admin
from django.urls import include, path

handler404 = "galleries.web.faults.not_found"
handler500 = "galleries.web.faults.fault"

urlpatterns = [
    # First, since the product has its own door in place of the admin's.
    path("", include("galleries.urls")),
    path("upkeep/", admin.site.urls),
]
