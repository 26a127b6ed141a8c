"""Marks: each person's own."""
