"""The command as a process: help, speed of starting, pipes, signals, faults."""

import inspect
import os
import subprocess
import sys
from importlib import import_module
from pathlib import Path

import can
import pytest

from busprobe import __version__
from busprobe.cli.main import _COMMANDS, run

COMMANDS = tuple(_COMMANDS)
HEAVY = ("numpy", "cantools", "duckdb", "can", "rich", "textual")


def process(*words: str, **more: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "busprobe", *words], capture_output=True, text=True, check=False, **more
    )  # type: ignore[call-overload,no-any-return]


def test_help_lists_every_command() -> None:
    done = process("--help")
    assert done.returncode == 0
    assert all(f"  {name}" in done.stdout for name in COMMANDS)
    assert done.stderr == ""


def test_help_imports_nothing_heavy() -> None:
    """This is why `busprobe --help` takes less than 0.3 s."""
    code = (
        "import sys; from busprobe.cli.main import run; run(['--help']); "
        f"sys.exit(','.join(name for name in {HEAVY} if name in sys.modules) or 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.parametrize("name", COMMANDS)
def test_help_of_each_command_has_an_example(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run([name, "--help"]) == 0
    assert f"busprobe {name}" in capsys.readouterr().out.split("Example")[1]


@pytest.mark.parametrize("name", COMMANDS)
def test_the_list_of_commands_says_what_the_command_itself_says(name: str) -> None:
    """The list is made without looking at the commands."""
    entry = _COMMANDS[name]
    told = inspect.cleandoc(import_module(entry.module).command.help)
    assert " ".join(told.split("\n\n")[0].split()) == entry.about


@pytest.mark.parametrize("name", COMMANDS)
def test_help_of_each_command_says_what_live_is(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Where it is taken; the usage line shows it too."""
    run([name, "--help"])
    usage, text = capsys.readouterr().out.split("\n", 1)
    takes_live = name in ("verify", "survey", "vehicle", "open", "record")
    assert ("live" in usage, " live " in text) == (takes_live, takes_live)


def test_version_and_no_command(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["--version"]) == 0
    assert __version__ in capsys.readouterr().out
    assert run([]) == 3
    assert "verify" in capsys.readouterr().err


def test_no_progress_bar_in_a_pipe(folder: Path) -> None:
    done = process("verify", "good.log", "--bench", "van.toml")
    assert (done.returncode, done.stderr) == (0, "")


def test_a_reader_that_went_away_is_no_trouble(folder: Path) -> None:
    """As in `busprobe verify ... | head -0`: silence, and the status of the verdict."""
    read_end, write_end = os.pipe()
    os.close(read_end)
    with os.fdopen(write_end, "wb") as gone:
        done = subprocess.run(
            [sys.executable, "-m", "busprobe", "verify", "late.log", "--bench", "van.toml"],
            stdout=gone, stderr=subprocess.PIPE, text=True, check=False,
        )  # fmt: skip
    assert (done.returncode, done.stderr) == (1, "")


def test_help_into_a_pipe_that_is_closed_is_silent() -> None:
    read_end, write_end = os.pipe()
    os.close(read_end)
    with os.fdopen(write_end, "wb") as gone:
        done = subprocess.run(
            [sys.executable, "-m", "busprobe", "--help"], stdout=gone, stderr=subprocess.PIPE, text=True, check=False
        )
    assert done.stderr == ""


def test_demo_prints_the_verdicts_of_two_drives(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["demo"]) == 0
    first, second = capsys.readouterr().out.split("Recording  ")[1:]
    assert first.startswith("handover.duckdb\n")
    assert "fail " not in first
    assert second.startswith("five_faults.duckdb\n")
    assert "fail " in second


def test_ctrl_c_ends_without_a_traceback(busprobe, monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("busprobe.session.surveying.open_source", interrupted)
    said = busprobe("survey good.log")
    assert (said.status, said.out, said.err.strip()) == (130, "", "Stopped.")


def test_a_fault_of_the_program_is_one_line_and_no_verdict() -> None:
    code = (
        "import sys; from busprobe.cli import main as m\n"
        "def broken(arguments): raise KeyError('x')\n"
        "m.run = broken\nm.main()"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 3
    assert done.stderr.startswith("A fault of busprobe itself (")
    assert "KeyError: 'x'" in done.stderr
    assert "Traceback" not in done.stderr


def test_long_advice_is_folded_and_the_message_is_not(busprobe, folder: Path) -> None:
    """A list of interfaces fits the screen; nothing of it is lost, and the first line can be searched for."""
    (folder / "live.toml").write_text('[vehicle]\nname = "Van"\n[[bus]]\nname = "body"\ninterface = "workshop"\n')
    said = busprobe("verify live --bench live.toml")
    assert said.status == 3
    first, *advice = said.err[said.err.index("live.toml, line 3") :].splitlines()
    assert first.startswith('live.toml, line 3: Bus "body": unknown interface "workshop".')
    assert len(advice) > 1
    assert max(map(len, advice)) <= 120
    assert " ".join(advice) == f"Interfaces: {', '.join(sorted(can.VALID_INTERFACES))}."
