"""Frames come in and get their stamped proofs."""
