"""A whole sitting painted into a folder, once: the folder appears complete or not at all."""

from __future__ import annotations

import json
import multiprocessing
import os
import shutil
import tempfile
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2

from .camera import write_frame
from .picture import paint_frame, truth_of
from .plan import LONG, plan_sitting

PAINTER_VERSION = 1
TRUTH = "truth.json"

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class PaintedSitting:
    """Where the frames lie and what is in them. `truths` has one plain dict per frame, in shooting order."""

    folder: Path
    truths: tuple[dict[str, Any], ...]

    @property
    def frames(self) -> list[Path]:
        return [self.folder / truth["name"] for truth in self.truths]


def sitting_folder(folder: Path, seed: int, long_side: int = LONG, count: int | None = None) -> Path:
    """The cache folder of a sitting: named by everything its pixels depend on."""
    part = "" if count is None else f"-first{count}"
    return folder / f"sitting-v{PAINTER_VERSION}-{seed}-{long_side}{part}"


def _paint_one(task: tuple[str, int, int, int]) -> dict[str, Any]:
    target, seed, index, long_side = task
    plan = plan_sitting(seed)
    frame = plan.frames[index]
    (Path(target) / frame.name).write_bytes(write_frame(plan, frame, paint_frame(plan, frame, long_side)))
    return truth_of(plan, frame, long_side).as_dict()


def _single_threaded() -> None:
    cv2.setNumThreads(1)


def _painted(tasks: list[tuple[str, int, int, int]], processes: int) -> Iterator[dict[str, Any]]:
    if processes <= 1:
        yield from map(_paint_one, tasks)
        return
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(processes, mp_context=context, initializer=_single_threaded) as pool:
        yield from pool.map(_paint_one, tasks)


def paint_sitting(
    folder: Path | str, seed: int, long_side: int = LONG, *, processes: int = 2, progress: Progress | None = None,
    count: int | None = None,
) -> PaintedSitting:  # fmt: skip
    """Paint the sitting of `seed` below `folder`, or find it there. `progress(done, total)` is called per frame.

    `count` paints only so many frames, from the first. The frames and truth.json are written beside their
    place and moved there in one step, so that a run cut short leaves nothing that looks finished. With more
    than one process the caller's main module must be importable without side effects (they are started fresh).
    """
    target = sitting_folder(Path(folder), seed, long_side, count)
    record = target / TRUTH
    if record.is_file():
        frames = json.loads(record.read_text("utf-8"))["frames"]
        if progress:
            progress(len(frames), len(frames))
        return PaintedSitting(target, tuple(frames))
    plan = plan_sitting(seed)
    target.parent.mkdir(parents=True, exist_ok=True)
    _clear_leftovers(target.parent)
    work = Path(tempfile.mkdtemp(prefix=".painting-", dir=target.parent))
    try:
        tasks = [(str(work), seed, frame.index, long_side) for frame in plan.frames[:count]]
        truths: list[dict[str, Any]] = []
        for truth in _painted(tasks, processes):
            truths.append(truth)
            if progress:
                progress(len(truths), len(tasks))
        looks = [{key: getattr(look, key) for key in ("slug", "title", "wardrobe", "backdrop", "lighting", "gel",
                                                      "treatment", "purpose")} for look in plan.looks]  # fmt: skip
        text = json.dumps({"version": PAINTER_VERSION, "seed": seed, "looks": looks, "frames": truths}, indent=1)
        (work / TRUTH).write_text(text, "utf-8")
        work.chmod(0o755)
        _move_into_place(work, target)
    finally:
        shutil.rmtree(work, ignore_errors=True)
    return PaintedSitting(target, tuple(json.loads(record.read_text("utf-8"))["frames"]))


def _clear_leftovers(folder: Path) -> None:
    """Remove what a killed run left behind: work folders nothing was written to for longer than any frame takes."""
    newest = max((path.stat().st_mtime for path in folder.iterdir()), default=0.0)
    for left in folder.glob(".painting-*"):
        if left.stat().st_mtime < newest - 3600:
            shutil.rmtree(left, ignore_errors=True)


def _move_into_place(work: Path, target: Path) -> None:
    if target.exists() and not (target / TRUTH).is_file():
        shutil.rmtree(target)
    try:
        os.replace(work, target)
    except OSError:
        if not (target / TRUTH).is_file():  # another run may have finished first: then its folder is as good
            raise
