"""The invisible tracer of proofs: prepared once, woven into each invite's copy, found again in a stray one."""

from galleries.imaging.tracer.answer import TraceResult, find
from galleries.imaging.tracer.pattern import embed, is_prepared, prepare
from galleries.imaging.tracer.reference import Reference, reference_of

__all__ = ["Reference", "TraceResult", "embed", "find", "is_prepared", "prepare", "reference_of"]
