"""`PYTHONPATH=tests python -m accuracy.run`: accuracy of virtual recordings as a printed table.

First the largest errors of some loudspeakers, whose limits the tests assert, and those of large signals; then
the bands of many seeded cases; see `bench` for the noise and `bands` for what is counted. Leaves with exit
code 1 where bands fail.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

from accuracy.against_truth import Region, corner_errors, errors
from accuracy.bands import REGIONS, Banded, banded, count_of, root_mean_square, share_of
from accuracy.bench import ON_AXIS_ALONE, measure, record
from accuracy.distortion import LARGE, LARGE_SEEDS, large_errors
from accuracy.loudspeakers import MADE, directions_of

#: One thread each, so that two processes don't fight over two cores.
THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
LEAST, MOST = 0.93, 0.97


def error_table() -> None:
    """Print the largest errors of each loudspeaker by region, dB, and of its bass figures, %."""
    print(f"{'largest error, dB':20}" + "".join(f"{region:>18}" for region in Region) + "   f3, f6, f10, %")
    for name, make in MADE.items():
        with tempfile.TemporaryDirectory(prefix="accuracy_") as folder:
            made = make()
            measured = measure(record(made, Path(folder) / "whole", directions_of(name)))
            gated = measure(record(made, Path(folder) / "gated", ON_AXIS_ALONE, near=False))
        found, low = errors(measured), errors(gated)
        largest = [(low if region is Region.LOW else found).largest_db(region) for region in Region]
        corners = "".join(f"{100.0 * share:+7.2f}" for share in corner_errors(measured).values())
        print(f"{name:20}" + "".join(f"{value:18.3f}" for value in largest) + corners, flush=True)


def large_table() -> None:
    """Print errors of harmonics, of the change of level and of clean output, dB, of some large signals."""
    print(
        f"{'large signals, dB':20}harmonics from 28 dB up: n   rms   largest   below: within 2 u, %", end=""
    )
    print("   change, largest   clean output: n, largest")
    for name in LARGE:
        for seed in LARGE_SEEDS:
            with tempfile.TemporaryDirectory(prefix="accuracy_") as folder:
                one = large_errors(name, seed, Path(folder))
            label = name if seed is None else f"{name} {seed}"
            print(
                f"{label:20}{one.count:27d}{one.rms_db:6.2f}{one.largest_db:10.2f}{100.0 * one.inside:24.1f}"
                f"{one.change_db:18.3f}{one.clean_count:19d}{one.clean_db:9.2f}",
                flush=True,
            )


def band_table(cases: Sequence[Banded]) -> bool:
    """Print what the bands of cases hold; whether both numbers lie within the limits."""
    told = [case for case in cases if not case.refused]
    for case in cases:
        if case.refused:
            print(f"  seed {case.seed} refused: {case.refused}")
    print(f"{len(told)} cases with a curve of {len(cases)}; level ± 1.96 u on axis at third octaves")
    print(f"{'':28}{'share of points inside':28}{'rms of error/u':>14}{'points':>8}")
    kinds = {"all": told} | {
        kind: [case for case in told if case.shape == kind] for kind in sorted({c.shape for c in told})
    }
    for kind, some in kinds.items():
        for number, region in enumerate((None, *REGIONS)):
            index = None if region is None else number - 1
            points = sum(int(c.error_db.size if index is None else (c.region == index).sum()) for c in some)
            share, ratio = share_of(some, index), root_mean_square(some, index)
            print(f"{kind + ', ' + (region or 'everywhere'):28}{share!s:28}{ratio:14.2f}{points:8d}")
    count, share = count_of(told), share_of(told)
    everywhere = sum(bool(case.inside.all()) for case in told if case.inside.size)
    print(f"cases whose lot lies inside: {count}")
    print(f"cases with every point inside (no promise): {everywhere} of {len(told)}")
    return all(LEAST <= each.value <= MOST for each in (share, count))


def bands(seeds: range, processes: int) -> list[Banded]:
    """The cases of seeds, in their order."""
    os.environ.update(dict.fromkeys(THREADS, "1"))
    with multiprocessing.get_context("spawn").Pool(processes) as pool:
        found = []
        for case in pool.imap(banded, seeds):
            found.append(case)
            print(f"\r{len(found)} of {len(seeds)} cases", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)
    return found


def main(words: Sequence[str] | None = None) -> int:
    """Read the call, run, print."""
    parser = argparse.ArgumentParser(prog="accuracy.run", description=__doc__.splitlines()[0])
    parser.add_argument("--first", type=int, default=1000, help="the first seed (default 1000)")
    parser.add_argument("--count", type=int, default=200, help="how many seeds (default 200)")
    parser.add_argument("--processes", type=int, default=2)
    call = parser.parse_args(words)
    start = time.perf_counter()
    error_table()
    large_table()
    good = band_table(bands(range(call.first, call.first + call.count), call.processes))
    print(f"{time.perf_counter() - start:.0f} s")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
