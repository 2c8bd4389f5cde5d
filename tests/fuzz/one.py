"""Fuzz one target, guided by coverage: ``python -m fuzz.one TARGET [libFuzzer's options] CORPUS``."""

from __future__ import annotations

import sys

import atheris


def main() -> None:
    """Fuzz until told otherwise by libFuzzer's options, or until something is found."""
    name = sys.argv.pop(1)
    with atheris.instrument_imports(include=["earwitness"]):
        from fuzz.targets import TARGETS  # noqa: PLC0415 - what is imported here is instrumented

        target = TARGETS[name]
        # The first runs import what waits until it is needed.
        for seed in target.seeds():
            target.accepts(seed)

    def run(data: bytes) -> None:
        target.accepts(data)

    atheris.Setup(sys.argv, run)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
