"""Where everything of a case lies."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from earwitness.records.errors import CaseError


@dataclass(frozen=True, slots=True)
class CaseFolder:
    """A case's folder; every path in it has its name here.

    Files that a person writes: `case_toml`, `takes_toml`, `testimony`, `verdict`, `revisions`. Files as they
    came: `raw` with `raw_sha256`; files that were put aside again: `removed` with `removed_sha256` and
    `removed_toml`. Everything under `build` is derived and can be deleted; `publication` is
    what goes out.
    """

    root: Path

    @classmethod
    def open(cls, path: Path) -> CaseFolder:
        """The case in the folder `path`.

        Raises
        ------
        CaseError
            If `path` isn't a folder with a ``case.toml`` in it, or a part of it is a link.
        """
        if not path.is_dir():
            raise CaseError(str(path), "there is no such folder", "give the folder of a case")
        case = cls(path)
        if not case.case_toml.is_file():
            remedy = "give the folder of a case, or start one with `earwitness new`"
            raise CaseError(str(path), "holds no case.toml, so it isn't a case", remedy)
        for inside in (
            case.case_toml,
            case.takes_toml,
            case.raw,
            case.raw_sha256,
            case.removed,
            case.removed_sha256,
            case.removed_toml,
            case.build,
            case.publication,
        ):
            if inside.is_symlink():
                raise CaseError(str(inside), "is a link", "put the file or folder itself there")
        return case

    @property
    def name(self) -> str:
        """The folder's own name."""
        return self.root.resolve().name

    @property
    def case_toml(self) -> Path:
        """The facts of the case."""
        return self.root / "case.toml"

    @property
    def takes_toml(self) -> Path:
        """What each raw file holds."""
        return self.root / "takes.toml"

    @property
    def raw(self) -> Path:
        """The folder of raw files."""
        return self.root / "raw"

    @property
    def raw_sha256(self) -> Path:
        """The raw files' hashes."""
        return self.root / "raw.sha256"

    @property
    def removed(self) -> Path:
        """The folder of raw files that were removed, each below the beginning of its hash."""
        return self.root / "removed"

    @property
    def removed_sha256(self) -> Path:
        """The removed files' hashes."""
        return self.root / "removed.sha256"

    @property
    def removed_toml(self) -> Path:
        """What ``takes.toml`` said of removed files."""
        return self.root / "removed.toml"

    @property
    def testimony(self) -> Path:
        """The folder of sealed listening notes."""
        return self.root / "testimony"

    @property
    def verdict(self) -> Path:
        """The reviewer's own words."""
        return self.root / "verdict.md"

    @property
    def revisions(self) -> Path:
        """What was published when."""
        return self.root / "revisions.toml"

    @property
    def publication(self) -> Path:
        """The folder that goes out."""
        return self.root / "publication"

    @property
    def lock(self) -> Path:
        """The file on which processes wait for each other."""
        return self.root / ".lock"

    @property
    def build(self) -> Path:
        """The folder of everything derived."""
        return self.root / "build"

    @property
    def steps(self) -> Path:
        """One folder a build step's result."""
        return self.build / "steps"

    @property
    def parts(self) -> Path:
        """Cached results of parts of a step, one file each."""
        return self.build / "parts"

    @property
    def state(self) -> Path:
        """Which files make up the built set."""
        return self.build / "state.json"

    @property
    def intent(self) -> Path:
        """Which set a commit is about to name; gone when it is done."""
        return self.build / "state.next.json"

    @property
    def raw_stat(self) -> Path:
        """Size, time and inode of the raw files when they were hashed last."""
        return self.build / "raw_stat.json"

    @property
    def responses(self) -> Path:
        """The reduced responses."""
        return self.build / "responses.nc"

    @property
    def curves(self) -> Path:
        """The derived curves."""
        return self.build / "curves.nc"

    @property
    def results(self) -> Path:
        """The figures of merit."""
        return self.build / "results.json"

    @property
    def findings(self) -> Path:
        """The findings."""
        return self.build / "findings.json"

    @property
    def quality(self) -> Path:
        """Whether the data are fit to conclude from."""
        return self.build / "quality.json"
