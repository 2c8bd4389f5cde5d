"""Where a method comes from: document, edition, clause, and how well we know it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Standing(StrEnum):
    """How a table or formula came to us."""

    READ = "read"
    RECALLED = "recalled"
    COMPUTED = "computed"
    COMMON_PRACTICE = "common practice"
    OWN = "defined here"


@dataclass(frozen=True, slots=True)
class Source:
    """A published document, or our own definition, that a number follows."""

    document: str
    edition: str
    clause: str
    standing: Standing

    def __str__(self) -> str:
        named = " ".join(p for p in (self.document, f"({self.edition})" if self.edition else "") if p)
        return ", ".join(p for p in (named, self.clause) if p)
