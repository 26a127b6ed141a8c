"""The invisible tracer of proofs: prepared once, woven into each invite's copy, found again in a stray one."""

from galleries.imaging.tracer.pattern import Reference, TraceResult, embed, find, is_prepared, prepare, reference

__all__ = ["Reference", "TraceResult", "embed", "find", "is_prepared", "prepare", "reference"]
