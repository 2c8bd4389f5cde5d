"""Help answers at once, says everything, and is the documentation."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest
import typer
from terminal import on_a_terminal
from told import Call

from earwitness.cli.app import COMMANDS, app
from earwitness.cli.reference import reference

ROOT = Path(__file__).parents[2]
#: What a command may need but help never does.
HEAVY = {
    "contourpy", "h5netcdf", "h5py", "jinja2", "markdown_it", "matplotlib", "numpy", "plotly", "pydantic",
    "rich", "scipy", "soundfile", "tomlkit", "typst", "xarray",
}  # fmt: skip


def commands() -> list[Any]:
    group: Any = typer.main.get_command(app)
    return list(group.commands.values())


def test_nothing_heavy_is_imported_for_help() -> None:
    program = (
        "import sys\nfrom earwitness.cli import main\n"
        "try: main(['--help'])\nexcept SystemExit: pass\n"
        "print(*sys.modules, file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True, timeout=30
    )
    loaded = {name.split(".")[0] for name in done.stderr.split()}
    assert "earwitness" in loaded
    assert loaded & HEAVY == set()


@pytest.mark.alone
def test_help_answers_within_three_tenths_of_a_second() -> None:
    """The shortest of ten, for the machine may be busy with something else."""
    taken = []
    for _ in range(10):
        start = time.perf_counter()
        subprocess.run([sys.executable, "-m", "earwitness", "--help"], capture_output=True, check=True)
        taken.append(time.perf_counter() - start)
    assert min(taken) <= 0.3


@pytest.mark.parametrize("command", [command.__name__ for command in COMMANDS])
def test_every_command_has_help_for_all_it_takes(call: Call, command: str) -> None:
    told = call(command, "--help")
    (found,) = (c for c in commands() if c.name == command)
    assert told.code == 0
    for parameter in found.params:
        assert parameter.help, parameter.name
        assert " ".join(parameter.help.split()[:3]) in " ".join(told.out.split())


def test_no_line_of_the_command_list_is_cut(call: Call) -> None:
    assert "..." not in call("--help").out.split("Commands:")[1]


def test_the_documentation_is_what_the_program_says() -> None:
    """After a change: python -m earwitness.cli.reference > docs/commands.md."""
    assert (ROOT / "docs" / "commands.md").read_text(encoding="utf-8") == reference()


def test_a_bar_is_shown_on_a_terminal(case: Path) -> None:
    ended = on_a_terminal("verify", case)
    assert "hashing" in ended.shown
    assert ended.shown.rstrip().endswith("nothing is wrong")
    takes = (case / "takes.toml").read_text(encoding="utf-8")
    (case / "takes.toml").write_text(takes.replace("level_db = 94", "level_db = 93.9"), encoding="utf-8")
    ended = on_a_terminal("build", case)
    assert ended.code == 0
    assert "building" in ended.shown
    assert "deriving" in ended.shown


def test_no_bar_is_shown_on_a_pipe_nor_to_machines(call: Call, case: Path) -> None:
    for words in (["verify"], ["build"], ["build", "--json"]):
        assert call(words[0], case, *words[1:]).err == ""
    assert on_a_terminal("verify", case, "--json").shown.count("\n") == 1


@pytest.mark.parametrize(("stated", "used"), [(None, "1"), ("2", "2")])
def test_linear_algebra_keeps_to_one_thread_unless_stated(stated: str | None, used: str) -> None:
    """Threads of its own share sums out otherwise: see docs/conventions.md, "Files"."""
    environment = {k: v for k, v in os.environ.items() if k != "OPENBLAS_NUM_THREADS"}
    if stated is not None:
        environment["OPENBLAS_NUM_THREADS"] = stated
    program = (
        "import atexit, os, earwitness.cli as cli\n"
        "atexit.register(lambda: print(os.environ['OPENBLAS_NUM_THREADS']))\n"
        "cli.main(['readers'])"
    )
    told = subprocess.run(
        [sys.executable, "-c", program], env=environment, check=True, capture_output=True, text=True
    )
    assert told.stdout.split()[-1] == used
