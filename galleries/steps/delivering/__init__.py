"""Crops, sizes, licence, and the delivery made and fetched."""
