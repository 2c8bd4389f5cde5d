"""Sidecars of stimuli that can't be what `earwitness stimulus` wrote, or belong to another sound."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Final

from hostile.refusal import Make, Refusal

from earwitness.pipeline.asked_signals import Noise, Sweep
from earwitness.pipeline.stimulus import Layout, write_stimuli
from earwitness.records.takes import Drive

SWEEP: Final = Sweep(20.0, 20_000.0, 0.5)


def _written(*changes: tuple[str, str], asked: Sweep | Noise = SWEEP) -> Make:
    """A stimulus with its sidecar, in which what matches the first is replaced by the second."""

    def make(folder: Path) -> Path:
        (folder / "session").mkdir()
        (written,) = write_stimuli(
            folder / "session", asked, [Drive(-20.0, "dBFS")], Layout(lead_s=0.1, tail_s=0.1)
        )
        stem = "stimulus"
        sound = written.sound.rename(written.sound.with_stem(stem))
        sidecar = written.sound.with_suffix(".toml").rename(sound.with_suffix(".toml"))
        text = sidecar.read_text(encoding="utf-8")
        for pattern, replacement in changes:
            text, count = re.subn(pattern, replacement, text, count=1, flags=re.MULTILINE)
            assert count == 1, pattern
        sidecar.write_text(text, encoding="utf-8")
        return folder / "session"

    return make


def _another_sound(folder: Path) -> Path:
    session = _written()(folder)
    sound = session / "stimulus.wav"
    sound.write_bytes(sound.read_bytes()[:-3] + b"\x01\x00\x00")
    return session


SIDECARS: Final = (
    Refusal(
        "another sound than the sidecar's",
        _another_sound,
        "stimulus.wav: isn't the file that stimulus.toml was written for (its SHA-256 differs); give "
        "the file as it was written, or move stimulus.toml away",
    ),
    Refusal(
        "a sidecar of noise",
        _written(asked=Noise(20.0, 20_000.0, 0.5, "pink", 1)),
        "stimulus.wav: is noise, as stimulus.toml says, and responses are made from sweeps; leave both out",
    ),
    Refusal(
        "a sidecar that is no TOML",
        _written((r"^form = 1$", "form = = 1")),
        "stimulus.toml: line 10, column 8: isn't valid TOML; look at the quotes, brackets and equals "
        "signs there",
    ),
    Refusal(
        "a sidecar of another form",
        _written((r"^form = 1$", "form = 2")),
        "stimulus.toml: line 10, form: isn't 1; write it again with `earwitness stimulus`",
    ),
    Refusal(
        "a kind that there isn't",
        _written((r'^kind = "sweep"$', 'kind = "chirp"')),
        "stimulus.toml: line 11, kind: isn't sweep or multitone or noise or endurance; write it "
        "again with `earwitness stimulus`",
    ),
    Refusal(
        "a key too few",
        _written((r"^rate_s = .*$", "")),
        "stimulus.toml: line 23, sweep.rate_s: is missing: a number; write it again with `earwitness "
        "stimulus`",
    ),
    Refusal(
        "a key too many",
        _written((r"^first_hz = .*$", r"\g<0>\nfirst_herz = 1.0")),
        "stimulus.toml: line 25, sweep.first_herz: is no key of a sidecar; did you mean first_hz?",
    ),
    Refusal(
        "words for a number",
        _written((r"^lead_s = .*$", 'lead_s = "short"')),
        "stimulus.toml: line 16, lead_s: isn't a number; write it again with `earwitness stimulus`",
    ),
    Refusal(
        "a number that can't be",
        _written((r"^peak_dbfs = .*$", "peak_dbfs = 3.0")),
        "stimulus.toml: line 19, peak_dbfs: isn't from −200 to 0; write it again with `earwitness stimulus`",
    ),
    Refusal(
        "no SHA-256",
        _written((r"^sha256 = .*$", 'sha256 = "abc"')),
        "stimulus.toml: line 13, sha256: isn't 64 digits of a SHA-256; write it again with "
        "`earwitness stimulus`",
    ),
    Refusal(
        "a length that doesn't follow",
        _written((r"^length_s = .*$", "length_s = 0.9")),
        "stimulus.toml: line 27, sweep.length_s: isn't the 0.345388 s that rate_s and the band give; "
        "write it again with `earwitness stimulus`",
    ),
    Refusal(
        "volts without those of full scale",
        _written((r"^level_dbfs = ", "drive_v = 1.0\nlevel_dbfs = ")),
        "stimulus.toml: full_scale_v: is missing: drive_v and full_scale_v go together; write it "
        "again with `earwitness stimulus`",
    ),
)
