"""Addresses of the product."""

urlpatterns: list = []
