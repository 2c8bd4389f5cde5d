"""`earwitness remove`."""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from earwitness.cli.arguments import CaseArgument, JsonOption
from earwitness.cli.console import confirmed, print_json, print_table

if TYPE_CHECKING:
    from earwitness.case.layout import CaseFolder
    from earwitness.case.removal import Removed

#: Of so many folders the call that brings them back names all.
_MOST_FOLDERS: Final = 8


def remove(
    case: CaseArgument,
    files: Annotated[
        list[str],
        typer.Argument(
            metavar="FILE...", help="Names below raw/: files, folders, or with * for anything but a slash."
        ),
    ],
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Show what would be removed, and change nothing.")
    ] = False,
    yes: Annotated[bool, typer.Option("--yes", help="Remove without asking.")] = False,
    as_json: JsonOption = False,
) -> None:
    """Put raw files aside: out of raw/ and takes.toml.

    They are kept in removed/ with their hashes, their entries in removed.toml. Asks before anything is moved;
    --yes answers, and with --json nobody is asked.
    """
    from earwitness.case.layout import CaseFolder
    from earwitness.case.lock import exclusive
    from earwitness.case.removal import find_raw, remove_raw, require_not_needed
    from earwitness.records.errors import CallError

    folder = CaseFolder.open(case)
    names = find_raw(folder, files)
    require_not_needed(folder, names)
    if not as_json:
        _show(folder, names)
    if dry_run:
        if as_json:
            print_json({"removed": [], "would_be_removed": names})
        else:
            print("nothing was removed: that was a dry run")
        return
    if as_json and not yes:
        raise CallError(f"nothing was removed; say --yes to remove {len(names)} files")
    unasked = "nothing was removed, for nobody can be asked here; say --yes to remove the files above"
    if not (yes or confirmed("remove these?", unasked)):
        print("nothing was removed")
        raise typer.Exit(2)
    with exclusive(folder):
        removed = remove_raw(folder, names)
    if as_json:
        print_json({"removed": [{"file": one.name, "kept": one.kept} for one in removed]})
    else:
        print(_told(case, removed))


def _show(folder: CaseFolder, names: Sequence[str]) -> None:
    from earwitness.case.takes import entries_of, rules_of

    said: dict[str, list[str]] = {name: [] for name in names}
    for take in entries_of(folder, names):
        said[take.path].append(take.key.label)
    rules = rules_of(folder, [name for name, labels in said.items() if not labels])
    ruled = {name: f'covered by the rule "{pattern}" in takes.toml' for name, pattern in rules.items()}
    without = "has no entry in takes.toml"
    rows = [(name, "; ".join(labels) or ruled.get(name, without)) for name, labels in said.items()]
    print_table(("file", "what it is"), rows)


def _told(case: Path, removed: Sequence[Removed]) -> str:
    lines = [f"raw/{one.name} is kept as {one.kept}" for one in removed]
    folders = list(dict.fromkeys(str(case / one.folder) for one in removed))
    whose = "has it back under its old name" if len(removed) == 1 else "has them back under their old names"
    if len(folders) > _MOST_FOLDERS:
        folders, whose = folders[:1], "has the first back under its old name"
    back = f"`earwitness add {' '.join(map(shlex.quote, [str(case), *folders]))}`"
    counted = "1 file" if len(removed) == 1 else f"{len(removed)} files"
    return "\n".join([*lines, f"removed {counted} from {case}; {back} {whose}"])
