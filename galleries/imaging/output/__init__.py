"""Pixels on their way out: resized, sharpened, encoded, looked at as print."""
