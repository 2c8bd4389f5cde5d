"""Pictures drawn in processes of their own, from whatever asks for them."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

#: As a reader of the docs would write it: nothing says that it must not run again when it is imported.
SCRIPT = """
from types import SimpleNamespace
import numpy as np
from earwitness.exhibits.separation import separation
from earwitness.publication.pictures import pictures
from earwitness.records.responses import ToldApart
from earwitness.records.sentences import say

print("ran")
three = np.array([1.0, 2.0, 3.0])
told = ToldApart(100.0 * three, three, three, 0.01 * three, three > 0.0)
exhibit = separation(told, say("Order, condition and residual."))
drawn = pictures(SimpleNamespace(marks={}, pictured=(exhibit,), exhibits=(exhibit,)))
print(*(still[:5] for still in drawn.stills.values()))
print(__name__, globals() is vars(__import__("sys").modules["__main__"]))
"""


def test_a_script_without_a_main_guard_draws_and_runs_once(tmp_path: Path) -> None:
    script = tmp_path / "publish_all.py"
    script.write_text(SCRIPT, encoding="utf-8")
    done = subprocess.run([sys.executable, script], capture_output=True, text=True, check=False)
    assert done.stderr == ""
    assert done.stdout.splitlines() == ["ran", "b'<?xml'", "__main__ True"]
