"""Profiles and conversions between them."""
