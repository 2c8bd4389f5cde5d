"""`PYTHONPATH=tests python -m evaluation.run`: features and causes against truth, as printed tables.

Baselines learn from tuning seeds; everything is scored on seeds apart. `--held-out` looks at the held-out
range, otherwise a later part of the tuning range is scored, so that work in progress never sees what is
held out.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import sys
import time
from collections.abc import Callable, Sequence

import numpy as np
from evaluation.baselines import Frequencies, base_rates, majority
from evaluation.case import Looked, look, statement
from evaluation.population import FOREIGN, HELD_OUT, TUNING
from evaluation.scores import (
    CAUSES,
    SAID,
    Judged,
    Statement,
    brier,
    brier_interval,
    cannot_tell_share,
    confusion,
    even,
    exact_share,
    reliability,
    shifted,
)
from evaluation.truth import meets

THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
Sayer = Callable[[float], Statement]


def cases(seeds: Sequence[int], processes: int) -> list[Looked]:
    """The cases of seeds, in their order."""
    os.environ.update(dict.fromkeys(THREADS, "1"))
    with multiprocessing.get_context("spawn").Pool(processes) as pool:
        found = []
        for case in pool.imap(look, seeds):
            found.append(case)
            print(f"\r{len(found)} of {len(seeds)} cases", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)
    return found


def share(hits: Sequence[bool]) -> str:
    """``91.3 % of 46``."""
    return f"{100.0 * float(np.mean(hits)):.1f} % of {len(hits)}" if hits else "- of 0"


def feature_table(title: str, some: Sequence[Looked]) -> None:
    """Print what was found, what was missed and what wasn't there; then the same by chance."""
    print(f"\n{title}: {len(some)} loudspeakers, features that show 1.5 dB after the gate")
    pairs = [(t, h) for c in some for t, h in zip(c.true, c.hit, strict=True)]
    narrow = [(t, h) for t, h in pairs if t.shows and not t.broad]
    broad = [h for t, h in pairs if t.shows and t.broad]
    print(f"  found, up to an octave wide   {share([h for _, h in narrow])}")
    print(f"  found, wider                  {share(broad)}")
    scarce = [h for t, h in pairs if t.scarce]
    hidden = [h for t, h in pairs if not t.scarce and not t.shows]
    print(f"  not counted: in one or two directions {share(scarce)}; hidden by others {share(hidden)}")
    for name in sorted({t.mechanism for t, _ in narrow}):
        print(f"    of {name:26} {share([h for t, h in narrow if t.mechanism == name])}")
    for low, high in ((1.5, 2.0), (2.0, 3.0), (3.0, 6.0), (6.0, 100.0)):
        within = [h for t, h in narrow if low <= t.shown_db < high]
        print(f"    {low:g} to {high:g} dB{'':18} {share(within)}")
    count = float(np.mean([len(c.found) for c in some]))
    alarms = float(np.mean([c.false_alarms for c in some]))
    print(f"  found a loudspeaker           {count:.1f}")
    print(f"  false alarms a loudspeaker    {alarms:.2f}")
    errors = np.concatenate([c.frequency_octaves for c in some])
    if errors.size:
        print(f"  frequency, median error       {100.0 * (2.0 ** float(np.median(errors)) - 1.0):.2f} %")
    others = [*some[1:], some[0]]
    chance = [
        any(meets(found, t) for found in other.found)
        for c, other in zip(some, others, strict=True)
        for t in c.true
        if t.shows and not t.broad
    ]
    print(f"  by chance (another loudspeaker's features against this one's truth)  {share(chance)}")


def judged(some: Sequence[Looked], say: Sayer) -> list[Judged]:
    """What a sayer says of all true features that show."""
    return [Judged(c.seed, true, say(at)) for c in some for at, true in c.examples]


def modules(some: Sequence[Looked]) -> list[Judged]:
    """What the modules say of them; of what wasn't found nothing can be told."""
    return [
        Judged(c.seed, true, said) for c in some for (_, true), said in zip(c.examples, c.said, strict=True)
    ]


def modules_of_found(some: Sequence[Looked]) -> list[Judged]:
    """What the modules say of found features."""
    return [
        Judged(c.seed, true, statement(told))
        for c in some
        for (_, true), told in zip(c.found_examples, c.told, strict=True)
    ]


def found_table(title: str, some: Sequence[Looked], frequencies: Frequencies, base: dict[str, float]) -> None:
    """Print, of found features, each cause's right, said and there, and the errors of what was fitted."""
    all_of = modules_of_found(some)
    by_band = [Judged(c.seed, true, frequencies.say(at)) for c in some for at, true in c.found_examples]
    print(f"\n{title}: causes of {len(all_of)} found features")
    for name, these in (("modules", all_of), ("frequencies", by_band)):
        low, high = brier_interval(these, base)
        print(
            f"  {name:14}{brier(these, base):8.3f}{f'{low:.3f} – {high:.3f}':>16}"
            f"{100.0 * exact_share(these):9.1f} %{100.0 * cannot_tell_share(these):8.1f} %"
        )
    print(f"  {'cause':24}{'right':>8}{'said':>8}{'there':>8}{'can’t tell':>12}")
    for cause in CAUSES:
        there = [j for j in all_of if cause in j.true]
        said = [j for j in all_of if cause in j.statement.said]
        right = sum(cause in j.true for j in said)
        silent = sum(j.statement.cannot_tell >= SAID for j in there)
        print(f"  {cause:24}{right:8d}{len(said):8d}{len(there):8d}{silent:12d}")
    for cause, name in (("resonance", "frequency_hz"), ("resonance", "q"), ("spaced_sources", "spacing_m")):
        errors = parameter_errors(some, cause, name)
        if errors:
            print(
                f"  {cause}, {name}: median error {100.0 * float(np.median(errors)):.1f} % of {len(errors)}"
            )


def parameter_errors(some: Sequence[Looked], cause: str, name: str) -> list[float]:
    """Relative errors of a fitted parameter against the nearest true one, of features where both say so."""
    errors = []
    for case in some:
        true = [p[key] for of, p in case.faults if of == cause for key in p if key.split()[0] == name]
        for (_, causes), told in zip(case.found_examples, case.told, strict=True):
            said = next((each for each in told.said if each.cause.value == cause), None)
            if said is None or cause not in causes or said.probability < SAID or not true:
                continue
            fitted = [each.value for each in said.parameters if each.name == name]
            errors += [min(abs(value / t - 1.0) for t in true) for value in fitted]
    return errors


def cause_table(title: str, some: Sequence[Looked], sayers: dict[str, Sayer], base: dict[str, float]) -> None:
    """Print scores of each sayer under the population's priors and others, and what it confuses."""
    said = {name: judged(some, say) for name, say in sayers.items()} | {"modules": modules(some)}
    print(f"\n{title}: causes of {sum(len(c.examples) for c in some)} features")
    print(f"  {'':14}{'Brier':>8}{'95 %':>16}{'even':>8}{'2 × res.':>9}{'exact set':>11}  can't tell")
    for name, all_of in said.items():
        low, high = brier_interval(all_of, base)
        print(
            f"  {name:14}{brier(all_of, base):8.3f}{f'{low:.3f} – {high:.3f}':>16}"
            f"{brier(even(all_of), base):8.3f}{brier(shifted(all_of, 'resonance', 2.0), base):9.3f}"
            f"{100.0 * exact_share(all_of):9.1f} %{100.0 * cannot_tell_share(all_of):8.1f} %"
        )
    for name, all_of in said.items():
        print(f"\n  {name}: said, observed, pairs")
        for bin_ in reliability(all_of, base):
            print(f"    {bin_.said:6.2f}{bin_.observed:8.2f}{bin_.count:8d}")
        print(f"  {name}: true set → said set, how often")
        for (true, told), count in sorted(confusion(all_of).items(), key=lambda pair: -pair[1])[:12]:
            print(f"    {count:5d}  {true} → {told}")


def main(words: Sequence[str] | None = None) -> int:
    """Read the call, run, print."""
    parser = argparse.ArgumentParser(prog="evaluation.run", description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=60, help="loudspeakers to learn from, and to score")
    parser.add_argument("--foreign", type=int, default=20, help="loudspeakers of the foreign family")
    parser.add_argument("--held-out", action="store_true", help="score the held-out seeds")
    parser.add_argument("--processes", type=int, default=2)
    call = parser.parse_args(words)
    start = time.perf_counter()
    tuning = TUNING[: call.count]
    scored = HELD_OUT[: call.count] if call.held_out else TUNING[call.count : 2 * call.count]
    seeds = [*tuning, *scored, *FOREIGN[: call.foreign]]
    looked = cases(seeds, call.processes)
    learnt, rest = looked[: len(tuning)], looked[len(tuning) :]
    apart, foreign = rest[: len(scored)], rest[len(scored) :]
    examples = [example for case in learnt for example in case.examples]
    base, most, by_band = base_rates(examples), majority(examples), Frequencies.of(examples)
    sayers: dict[str, Sayer] = {"majority": lambda _: most, "frequencies": by_band.say}
    title = f"{'held-out' if call.held_out else 'tuning'} seeds {scored[0]} to {scored[-1]}"
    foreign_title = f"foreign family, seeds {FOREIGN[0]} on"
    feature_table(title, apart)
    for shape in ("ball", "box"):
        some = [case for case in apart if case.shape == shape]
        if some:
            feature_table(f"{title}, {shape}", some)
    if foreign:
        feature_table(foreign_title, foreign)
    cause_table(title, apart, sayers, base)
    of_found = Frequencies.of([example for case in learnt for example in case.found_examples])
    found_table(title, apart, of_found, base)
    if foreign:
        cause_table(foreign_title, foreign, sayers, base)
        found_table(foreign_title, foreign, of_found, base)
    made, looked_at = (np.array([getattr(c, name) for c in looked]) for name in ("made_s", "looked_s"))
    print(f"\na case: made in {np.median(made):.2f} s (at most {made.max():.1f})")
    print(f"features in {np.median(looked_at):.2f} s (at most {looked_at.max():.1f})")
    print(f"causes in {np.median([c.told_s for c in looked]):.2f} s")
    print(f"in all {time.perf_counter() - start:.0f} s")
    return 0


if __name__ == "__main__":
    sys.exit(main())
