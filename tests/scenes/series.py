"""Make a series of scenes, one after the other or several at a time."""

from __future__ import annotations

import multiprocessing
import sys
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass
from pathlib import Path

from tests.scenes.catalogue import Scene
from tests.scenes.shoot import rephotograph, shoot


@dataclass(frozen=True, slots=True)
class Task:
    """How the scenes of a series are to be made."""

    out: Path
    relight: bool  # also four photos under four lights
    keep_linear: bool
    samples: int
    variant: str
    again: bool  # also scenes that are there already


def make_all(task: Task, scenes: Sequence[Scene], jobs: int) -> list[tuple[str, str]]:
    """Make the scenes, ``jobs`` at a time; those that failed, with the reason."""
    missing = [s for s in scenes if task.again or not _done(task, s).exists()]
    outcomes = _in_turn(task, missing) if jobs == 1 else _at_a_time(task, missing, jobs)
    failed = []
    for k, (scene_id, error, seconds) in enumerate(outcomes, start=1):
        print(f"{scene_id} {k}/{len(missing)} {seconds:.1f} s", file=sys.stderr, flush=True)
        if error:
            failed.append((scene_id, error))
    return failed


def _in_turn(task: Task, scenes: Sequence[Scene]) -> Iterator[tuple[str, str, float]]:
    for scene in scenes:
        yield _make(task, scene)


def _at_a_time(task: Task, scenes: Sequence[Scene], jobs: int) -> Iterator[tuple[str, str, float]]:
    """A worker that dies raises BrokenProcessPool here, instead of hanging the series."""
    context = multiprocessing.get_context("spawn")  # Mitsuba's threads do not survive a fork
    with ProcessPoolExecutor(jobs, mp_context=context) as pool:
        for future in as_completed([pool.submit(_make, task, scene) for scene in scenes]):
            yield future.result()


def _done(task: Task, scene: Scene) -> Path:
    return task.out / (f"relight/{scene.id}-light4.json" if task.relight else f"{scene.id}.json")


def _make(task: Task, scene: Scene) -> tuple[str, str, float]:
    """Id, what went wrong or nothing, seconds."""
    start = time.perf_counter()
    error = ""
    try:
        if task.relight and (task.out / "linear" / f"{scene.id}.npz").exists():
            rephotograph(scene, task.out)
        else:
            shoot(
                scene,
                task.out,
                samples=task.samples,
                variant=task.variant,
                keep_linear=task.keep_linear,
                relight=task.relight,
            )
    except (RuntimeError, ValueError) as problem:  # no draw came out as asked; the others go on
        error = f"{type(problem).__name__}: {problem}"
    return scene.id, error, time.perf_counter() - start
