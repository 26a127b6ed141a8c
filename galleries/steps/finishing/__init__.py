"""Retouches: matched to their finals, approved or sent back."""
