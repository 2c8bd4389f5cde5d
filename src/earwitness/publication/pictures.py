"""The exhibits as still pictures, for the PDF, for print and for a page without its script."""

from __future__ import annotations

from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context

from earwitness.exhibits.description import Exhibit
from earwitness.exhibits.matplotlib import draw


def picture_path(exhibit: Exhibit) -> str:
    """Where an exhibit's picture lies beside the page: ``pictures/a-response-set.svg``."""
    return f"pictures/{exhibit.letter.lower()}-{exhibit.id}.svg"


def pictures(exhibits: tuple[Exhibit, ...]) -> dict[str, bytes]:
    """Every exhibit as SVG, by its path; drawn by two processes."""
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        return dict(zip(map(picture_path, exhibits), pool.map(_svg, exhibits), strict=True))


def _svg(exhibit: Exhibit) -> bytes:
    return draw(exhibit)
