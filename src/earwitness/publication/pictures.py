"""The exhibits as still pictures, for the PDF, for print and for a page without its script."""

from __future__ import annotations

import signal
import sys
from collections.abc import Iterator, Mapping
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import partial
from multiprocessing import get_context
from types import ModuleType
from typing import Final

from earwitness.exhibits.description import Exhibit, Mark
from earwitness.exhibits.matplotlib import draw
from earwitness.publication.context import PublicationContext
from earwitness.records.errors import CallError

MARKED_WIDTH_MM: Final = 84.0


@dataclass(frozen=True, slots=True)
class Pictures:
    """SVG files: every exhibit by its path; for the PDF also one marked panel a finding, by its id."""

    stills: Mapping[str, bytes]
    marked: Mapping[str, bytes]


def picture_path(exhibit: Exhibit) -> str:
    """Where an exhibit's picture lies beside the page: ``pictures/a-response-set.svg``."""
    return f"pictures/{exhibit.letter.lower()}-{exhibit.id}.svg"


def pictures(context: PublicationContext) -> Pictures:
    """Draw every exhibit, and the place of every finding, in two processes."""
    places = {finding: found[0] for finding, found in context.marks.items()}
    jobs = [
        *(partial(draw, exhibit) for exhibit in context.pictured),
        *(_marked(context.exhibits, mark) for mark in places.values()),
    ]
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        # the workers inherit the mask: a Ctrl-C reaches this process alone, and leaving the pool ends them
        mask = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
        try:
            with _script_out_of_sight():
                drawing = pool.map(_call, jobs)
        finally:
            signal.pthread_sigmask(signal.SIG_SETMASK, mask)
        try:
            drawn = list(drawing)
        except BrokenProcessPool as error:
            problem = "a process that draws was ended from outside; publish again, with more memory free"
            raise CallError(problem) from error
    count = len(context.pictured)
    return Pictures(
        stills=dict(zip(map(picture_path, context.pictured), drawn[:count], strict=True)),
        marked=dict(zip(places, drawn[count:], strict=True)),
    )


@contextmanager
def _script_out_of_sight() -> Iterator[None]:
    """While processes start: else they run the script that calls anew, though they need nothing of it."""
    script = sys.modules["__main__"]
    sys.modules["__main__"] = ModuleType("__main__")
    try:
        yield
    finally:
        sys.modules["__main__"] = script


def _marked(exhibits: tuple[Exhibit, ...], mark: Mark) -> partial[bytes]:
    """The job that draws the one panel in which a mark stands."""
    exhibit = next(e for e in exhibits if e.id == mark.exhibit)
    panel = next(p for p in exhibit.panels if p.id == mark.panel)
    return partial(draw, replace(exhibit, panels=(panel,)), width_mm=MARKED_WIDTH_MM, marks={mark: ""})


def _call(job: partial[bytes]) -> bytes:
    return job()
