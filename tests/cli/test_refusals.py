"""A hurried, clumsy user: every refusal is one line with an exit code, for people and for machines."""

from __future__ import annotations

import errno
import functools
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from told import Call

from earwitness.case import durable
from earwitness.case.layout import CaseFolder
from earwitness.case.verify import verify
from earwitness.publication import pictures

COMMANDS = ("add", "build", "publish", "verify")


PROGRAM = """
import resource, sys
from earwitness.cli import main
if int(sys.argv[1]):
    resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[1]),) * 2)
main(sys.argv[2:])
"""


def process(
    *words: str | Path,
    limit_bytes: int = 0,
    stdin: int = subprocess.DEVNULL,
    stdout: int = subprocess.PIPE,
    env: dict[str, str] | None = None,
) -> subprocess.Popen[str]:
    """A command in a process of its own, whose files can't grow past `limit_bytes` (0: no limit)."""
    call = [sys.executable, "-c", PROGRAM, str(limit_bytes), *map(str, words)]
    # unbuffered output would hide what only leaving the program passes on
    buffered = {name: value for name, value in (env or os.environ).items() if name != "PYTHONUNBUFFERED"}
    return subprocess.Popen(call, text=True, env=buffered, stdin=stdin, stdout=stdout, stderr=subprocess.PIPE)


def words_of(command: str, root: Path, recordings: Path) -> list[str | Path]:
    words: list[str | Path] = [command, root]
    return [*words, recordings, "--yes"] if command == "add" else words


@pytest.fixture
def holder(case: Path) -> Iterator[Path]:
    """The case while another process holds it for writing."""
    program = (
        "import sys; from pathlib import Path; from earwitness.case.layout import CaseFolder\n"
        "from earwitness.case.lock import exclusive\n"
        "with exclusive(CaseFolder.open(Path(sys.argv[1]))): print('held', flush=True); sys.stdin.read()\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", program, str(case)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as other:
        assert other.stdout is not None
        assert other.stdin is not None
        assert other.stdout.readline() == "held\n"
        yield case
        other.stdin.close()


@pytest.mark.parametrize("command", COMMANDS)
def test_a_folder_that_is_no_case(call: Call, tmp_path: Path, recordings: Path, command: str) -> None:
    told = call(*words_of(command, tmp_path, recordings))
    assert (told.code, told.refusal.split(":")[1].split(";")[0]) == (
        2,
        " holds no case.toml, so it isn't a case",
    )
    told = call(*words_of(command, tmp_path / "nowhere", recordings))
    assert told.code == 2
    assert told.refusal == f"{tmp_path / 'nowhere'}: there is no such folder; give the folder of a case"


@pytest.mark.parametrize("command", COMMANDS)
def test_with_json_a_refusal_is_one_object(
    call: Call, tmp_path: Path, recordings: Path, command: str
) -> None:
    told = call(*words_of(command, tmp_path, recordings), "--json")
    assert told.json["exit_code"] == told.code == 2
    assert "isn't a case" in told.json["error"]


@pytest.mark.parametrize(
    ("words", "problem"),
    [
        (["frob"], "No such command 'frob'; see `earwitness --help`"),
        (["bild", "x"], "No such command 'bild'. Did you mean 'build'?; see `earwitness --help`"),
        (["build"], "Missing argument 'CASE'; see `earwitness build --help`"),
        (["build", "x", "y"], "Got unexpected extra argument(s) (y); see `earwitness build --help`"),
        (["build", "x", "--force"], "No such option: --force; see `earwitness build --help`"),
        (["--force"], "No such option: --force; see `earwitness --help`"),
        (["schema", "nope"], "there is no schema 'nope'; the schemas are case, findings, quality, results"),
    ],
)
def test_a_wrong_call(call: Call, words: list[str], problem: str) -> None:
    told = call(*words)
    assert (told.code, told.refusal, told.out) == (2, problem, "")
    told = call(*words, "--json")
    assert (told.code, told.json) == (2, {"error": problem, "exit_code": 2})


def test_a_file_called_json_is_a_file(call: Call, empty: Path) -> None:
    assert call("add", empty, "--", "--json").refusal == "--json: isn't there; look at the path"


def test_without_words_the_help_is_shown(call: Call) -> None:
    told = call()
    assert told.code == 2
    assert told.out.startswith("Usage: earwitness")
    assert call("--version").out.startswith("earwitness ")


def test_nothing_to_build(call: Call, empty: Path) -> None:
    told = call("build", empty)
    assert told.code == 1
    assert told.refusal == "the case has no response in any direction yet; add some with `earwitness add`"


def test_nothing_to_publish(call: Call, empty: Path) -> None:
    told = call("publish", empty)
    assert told.code == 1
    assert told.refusal == f"{empty}: nothing is built yet; run `earwitness build`"
    assert call("publish", empty, "--json").json["exit_code"] == 1
    assert call("verify", empty).code == 0


def test_a_distance_that_nobody_stated(call: Call, empty: Path, recordings: Path) -> None:
    assert call("add", empty, recordings, "--yes").code == 0
    told = call("build", empty)
    assert told.code == 2
    assert told.refusal.startswith("case.toml, rig.distance_m: ")


def test_recordings_without_a_level(call: Call, case: Path) -> None:
    takes = case / "takes.toml"
    entries = takes.read_text(encoding="utf-8").split("\n[[take]]\n")
    takes.write_text("\n[[take]]\n".join(e for e in entries if "calibrator_94" not in e), encoding="utf-8")
    told = call("build", case)
    assert told.code == 2
    assert "no calibrator was recorded and no level is stated" in told.refusal


def test_a_stimulus_that_is_gone(call: Call, case: Path) -> None:
    (case / "raw" / "stimulus.wav").unlink()
    told = call("build", case)
    assert told.code == 1
    assert told.refusal == "raw/stimulus.wav: is missing; restore it from a copy"
    told = call("verify", case)
    assert told.code == 1
    assert "raw/stimulus.wav: is missing" in told.out
    assert told.out.splitlines()[-1].endswith(": 1 wrong")


def test_a_raw_file_that_was_changed(call: Call, case: Path) -> None:
    path = case / "raw" / "horizontal_+000_2.83V.wav"
    path.chmod(0o644)
    content = bytearray(path.read_bytes())
    content[2000] ^= 1
    path.write_bytes(content)
    for command in ("build", "verify"):
        told = call(command, case, "--json")
        assert told.code == 1
        assert "raw/horizontal_+000_2.83V.wav: has changed" in told.out
    assert call("verify", case, "--json").json["fine"] is False


@pytest.mark.parametrize("command", COMMANDS)
def test_while_another_process_works_on_the_case(
    call: Call, holder: Path, recordings: Path, command: str
) -> None:
    told = call(*words_of(command, holder, recordings))
    assert told.code == 2
    assert told.refusal.startswith(f"another earwitness is building in {holder} (process ")
    assert call(*words_of(command, holder, recordings), "--json").json["exit_code"] == 2


@pytest.mark.parametrize(
    ("number", "remedy"),
    [
        (errno.ENOSPC, "make room"),
        (errno.EDQUOT, "make room"),
        (errno.EROFS, "make it readable and writable for you"),
        (errno.EACCES, "make it readable and writable for you"),
        (errno.EIO, "look at the path"),
    ],
)
@pytest.mark.parametrize("command", ["new", "add", "build"])
def test_a_disk_that_refuses(
    *,
    call: Call,
    case: Path,
    empty: Path,
    recordings: Path,
    monkeypatch: pytest.MonkeyPatch,
    command: str,
    number: int,
    remedy: str,
) -> None:
    shutil.rmtree(case / "build")

    def refuse(name: str) -> None:
        raise OSError(number, os.strerror(number), str(durable.temporary_beside(case / "a file")))

    roots = {"new": case.parent / "another", "add": empty, "build": case}
    with monkeypatch.context() as patched:
        patched.setattr(durable, "checkpoint", refuse)
        told = call(*words_of(command, roots[command], recordings))
        assert told.code == 2
        assert told.refusal.startswith(f"{case}: {os.strerror(number).lower()}; {remedy}")
    assert call(*words_of(command, roots[command], recordings)).code == 0


@pytest.mark.parametrize("limit_bytes", [2_000, 50_000])
def test_a_file_that_can_grow_no_further(empty: Path, recordings: Path, call: Call, limit_bytes: int) -> None:
    """A real refusal of the system in the middle of a copy; afterwards the same command does it."""
    full = process("add", empty, recordings, "--yes", limit_bytes=limit_bytes)
    _, err = full.communicate(timeout=60)
    assert full.returncode == 2
    assert err.startswith("earwitness: ")
    assert err.count("\n") == 1
    assert "file too large; make room" in err
    assert verify(CaseFolder.open(empty)).problems == ()
    assert call("add", empty, recordings, "--yes").code == 0
    assert verify(CaseFolder.open(empty)).raw_files == 4


@pytest.mark.parametrize("limit_bytes", [1_000, 20_000, 200_000])
def test_a_build_whose_files_can_grow_no_further(case: Path, call: Call, limit_bytes: int) -> None:
    shutil.rmtree(case / "build")
    full = process("build", case, limit_bytes=limit_bytes)
    _, err = full.communicate(timeout=60)
    assert full.returncode == 2, err
    assert err.startswith("earwitness: ")
    assert err.count("\n") == 1
    assert verify(CaseFolder.open(case)).problems == ()
    assert call("build", case).code == 0


def test_folders_where_nothing_can_be_started(call: Call, empty: Path, tmp_path: Path) -> None:
    file = tmp_path / "file"
    file.write_text("mine")
    assert "isn't an empty folder" in call("new", file).refusal
    assert "not a directory" in call("new", file / "below").refusal
    assert "isn't an empty folder" in call("new", empty).refusal
    assert "isn't an empty folder" in call("new", empty, "--json").json["error"]
    assert call("new", tmp_path / "named", "--name", "").refusal.startswith("the name must be one line")
    assert file.read_text() == "mine"


@pytest.mark.parametrize("command", ["add", "build", "new"])
def test_stopped_from_the_keyboard(
    *,
    call: Call,
    case: Path,
    empty: Path,
    recordings: Path,
    monkeypatch: pytest.MonkeyPatch,
    command: str,
) -> None:
    shutil.rmtree(case / "build")
    passed = 0

    def interrupt(name: str) -> None:
        nonlocal passed
        passed += 1
        if passed == 3:
            raise KeyboardInterrupt

    roots = {"new": case.parent / "another", "add": empty, "build": case}
    with monkeypatch.context() as patched:
        patched.setattr(durable, "checkpoint", interrupt)
        told = call(*words_of(command, roots[command], recordings))
        assert told.code == 130
        assert told.refusal.startswith("stopped; nothing is lost")
    assert call(*words_of(command, roots[command], recordings)).code == 0
    assert verify(CaseFolder.open(roots[command])).problems == ()


def test_a_drawing_process_that_dies(call: Call, case: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pictures, "partial", lambda *_, **__: functools.partial(os._exit, 1))
    told = call("publish", case)
    assert told.code == 2
    assert told.refusal.startswith("a process that draws was ended from outside; publish again")
    assert not (case / "publication").exists()


def test_a_real_interrupt_is_one_line(tmp_path: Path) -> None:
    running = process("demo", tmp_path / "demo")
    deadline = time.monotonic() + 60
    while not (tmp_path / "demo" / "case.toml").exists() and time.monotonic() < deadline:
        time.sleep(0.02)
    running.send_signal(signal.SIGINT)
    _, err = running.communicate(timeout=60)
    # the interpreter itself may leave by the signal, which a shell shows as 130 too
    assert running.returncode in {130, -signal.SIGINT}
    assert err == "earwitness: stopped; nothing is lost, and the same command goes on from here\n"
    assert verify(CaseFolder.open(tmp_path / "demo")).problems == ()


def closed_pipe() -> int:
    reading, writing = os.pipe()
    os.close(reading)
    return writing


@pytest.mark.parametrize(
    ("opened", "code"),
    [(closed_pipe, 141), (lambda: os.open("/dev/full", os.O_WRONLY), 2)],
    ids=["closed pipe", "full disk"],
)
@pytest.mark.parametrize("words", [("schema", "results"), ("--help",), ("--version",)])
def test_output_that_nobody_takes(opened: Callable[[], int], code: int, words: tuple[str, ...]) -> None:
    output = opened()
    running = process(*words, stdout=output)
    os.close(output)
    _, err = running.communicate(timeout=30)
    assert running.returncode == code
    assert "Traceback" not in err
    assert "Exception" not in err
    assert err.count("\n") == (1 if code == 2 else 0)


def test_an_output_that_lacks_letters(tmp_path: Path) -> None:
    environment = dict(os.environ, PYTHONIOENCODING="ascii")
    running = process("new", tmp_path / "ünknown", env=environment)
    out, err = running.communicate(timeout=30)
    assert (running.returncode, err) == (0, "")
    assert "\\xfcnknown" in out
