"""How a command ended, as its tests read it."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Told:
    """How a command ended, and what it wrote."""

    code: int
    out: str
    err: str

    @property
    def refusal(self) -> str:
        """The one line of a refusal on standard error."""
        assert self.err.startswith("earwitness: "), self.err
        assert self.err.count("\n") == 1
        assert self.err.endswith("\n")
        assert "Traceback" not in self.err + self.out
        return self.err.removeprefix("earwitness: ").removesuffix("\n")

    @property
    def json(self) -> dict[str, Any]:
        """The one JSON object on standard output."""
        assert self.err == ""
        assert self.out.count("\n") == 1
        document = json.loads(self.out)
        assert isinstance(document, dict)
        return document


Call = Callable[..., Told]
