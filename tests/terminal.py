"""A command on a terminal of its own: what is shown there, and a person's answer."""

from __future__ import annotations

import os
import pty
import re
import select
import sys
import time
from dataclasses import dataclass
from pathlib import Path

_STEERING = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]")


@dataclass(frozen=True)
class Ended:
    """Exit code, and all that was ever shown, without what steers the terminal."""

    code: int
    shown: str


def on_a_terminal(*words: str | Path, prompt: str = "", answer: str = "", seconds: float = 60.0) -> Ended:
    """Run `earwitness` with `words`; once `prompt` is shown, type `answer`."""
    child, terminal = pty.fork()
    if child == 0:
        os.environ.update(TERM="xterm", COLUMNS="160")
        os.execv(sys.executable, [sys.executable, "-m", "earwitness", *map(str, words)])
    shown = b""
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline:
        if not select.select([terminal], [], [], 0.1)[0]:
            continue
        try:
            block = os.read(terminal, 1 << 16)
        except OSError:
            break
        if not block:
            break
        shown += block
        if answer and prompt.encode() in shown:
            os.write(terminal, answer.encode())
            answer = ""
    os.close(terminal)
    _, status = os.waitpid(child, 0)
    text = _STEERING.sub("", shown.decode("utf-8", "replace"))
    return Ended(os.waitstatus_to_exitcode(status), text.replace("\r\n", "\n"))
