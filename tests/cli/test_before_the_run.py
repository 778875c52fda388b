"""What is told before a command begins its work, and how it ends."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

NO_FOLDER = "none/x.json: The folder to write to does not exist.\nMake the folder first.\n"


@pytest.mark.parametrize(
    "line",
    [
        "verify none.log --bench none.toml --json none/x.json",
        "survey none.log --json none/x.json",
        "record --bench none.toml --out x.duckdb --json none/x.json",
        "vehicle none.log --json none/x.json",
        "vehicle none.log --save none/x.json",
    ],
)
def test_a_missing_folder_is_told_first(busprobe, line: str) -> None:
    """Before anything else is looked at: the other files of these lines are not there either."""
    assert busprobe(line) == (3, "", NO_FOLDER)


def test_a_folder_is_no_file_to_write(busprobe) -> None:
    assert busprobe("survey good.log --json .").err == ".: This is a folder.\nName a file in it.\n"


@pytest.mark.parametrize("name", [".", "..", "/", "drives"])
def test_a_folder_is_no_recording_to_write(busprobe, folder: Path, name: str) -> None:
    (folder / "drives").mkdir()
    said = busprobe(f"record --bench van.toml --out {name}")
    assert said == (3, "", f"{name}: This is a folder.\nName a file in it.\n")


def test_a_name_that_is_only_an_ending(busprobe) -> None:
    """Of ".duckdb" the whole is the name, so it has no ending."""
    said = busprobe("record --bench van.toml --out .duckdb")
    assert said == (3, "", '.duckdb: A recording ends in ".duckdb", not in "".\nName it ".duckdb.duckdb".\n')


@pytest.mark.parametrize("line", ["record --bench van.toml --out x.blf", "verify live --bench van.toml --record x.blf"])
def test_a_recording_ends_in_duckdb(busprobe, line: str) -> None:
    said = busprobe(line)
    assert said == (3, "", 'x.blf: A recording ends in ".duckdb", not in ".blf".\nName it "x.duckdb".\n')


def test_a_recording_that_is_there_is_told_before_the_first_frame(busprobe, folder: Path) -> None:
    (folder / "x.duckdb").write_bytes(b"old")
    said = busprobe("record --bench van.toml --out x.duckdb --on-wake")
    assert said.status == 3
    assert "x.duckdb: The file is there already.\nChoose another name, or remove it first.\n" in said.err


def test_record_takes_the_word_live(busprobe, folder: Path) -> None:
    """It gets as far as without the word: the file to write is there already."""
    (folder / "x.duckdb").write_bytes(b"old")
    said = busprobe("record live --bench van.toml --out x.duckdb")
    assert said.status == 3
    assert "x.duckdb: The file is there already.\n" in said.err


@pytest.mark.parametrize("rest", ["", " --bench van.toml --out x.duckdb"])
def test_record_of_a_recording_says_what_to_do(busprobe, rest: str) -> None:
    said = busprobe(f"record good.log{rest}")
    assert (said.status, said.out) == (3, "")
    assert '"good.log" cannot be recorded: record takes the vehicle itself' in said.err
    assert "The file to write goes after --out." in said.err


def test_open_without_a_terminal(busprobe) -> None:
    message = (
        "busprobe open needs a terminal: it was started without one.\nbusprobe verify gives the verdicts without one.\n"
    )
    assert busprobe("open good.log --bench van.toml") == (3, "", message)
    assert busprobe("open") == (3, "", message)


@pytest.mark.parametrize("number", [1, 2])
def test_a_stream_that_is_closed_is_as_good_as_none(folder: Path, number: int) -> None:
    """As in `busprobe verify ... 2>&-`: the verdict, and no fault of the program."""
    words = f"'{sys.executable}' -m busprobe verify late.log --bench van.toml {number}>&-"
    done = subprocess.run(["sh", "-c", words], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (1, "")
    assert ("Verdicts" in done.stdout) == (number == 2)


def test_decode_with_the_database_of_another_vehicle_writes_nothing(busprobe, folder: Path) -> None:
    text = (folder / "van.dbc").read_text().replace("256", "257").replace("512", "513")
    (folder / "other.dbc").write_text(text)
    (folder / "out.csv").write_text("older")
    said = busprobe("decode good.log --database other.dbc --to out.csv")
    assert (said.status, said.out) == (3, "")
    assert said.err == (
        "good.log: None of the database's messages is in this recording.\n"
        "Is it the database of this vehicle? busprobe survey shows what was recorded.\n"
    )
    assert (folder / "out.csv").read_text() == "older"


LIVE_BENCH = """\
[vehicle]
name = "Roads patrol van 12"
[[bus]]
name = "body"
interface = "virtual"
channel = "{channel}"
"""


@contextmanager
def recording(folder: Path, channel: str) -> Iterator[subprocess.Popen[str]]:
    """The program, recording to x.duckdb."""
    (folder / "live.toml").write_text(LIVE_BENCH.format(channel=f"{channel} {os.getpid()}"))
    command = [sys.executable, "-m", "busprobe", "record", "--bench", "live.toml", "--out", "x.duckdb"]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    try:
        until = time.monotonic() + 60
        while process.poll() is None and not (folder / "x.duckdb").exists() and time.monotonic() < until:
            time.sleep(0.02)
        yield process
    finally:
        process.kill()


@pytest.mark.parametrize("pause_s", [0.0, 0.05, 0.15, 0.4])
def test_ctrl_c_twice_shows_no_traceback(folder: Path, pause_s: float) -> None:
    """Whenever the second comes: the recording is closed and the report is there."""
    with recording(folder, "twice") as process:
        process.send_signal(signal.SIGINT)
        time.sleep(pause_s)
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=60)
    assert "Traceback" not in err
    assert "fault of busprobe" not in err
    assert (process.returncode, "Summary" in out) == (0, True)
    assert not (folder / "x.duckdb.wal").exists()


def test_recording_that_stopped_early_ends_with_1(busprobe, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """And after a live command Ctrl-C is as it was."""
    (folder / "live.toml").write_text(LIVE_BENCH.format(channel=f"early {os.getpid()}"))
    before = signal.getsignal(signal.SIGINT)
    monkeypatch.setattr("busprobe.session.recorder.LEAST_FREE", 10**15)
    said = busprobe("record --bench live.toml --out x.duckdb --for 1s")
    assert said.status == 1
    assert "Recording stopped early: " in said.out
    assert said.out.replace("\n", " ").count("recording stopped.") == 0
    assert signal.getsignal(signal.SIGINT) is before


@pytest.mark.skipif(sys.platform == "win32", reason="a signal of POSIX")
@pytest.mark.parametrize("name", ["SIGTERM", "SIGHUP"])
def test_a_request_to_end_is_like_ctrl_c(folder: Path, name: str) -> None:
    """Verdicts, a closed recording and the same exit status."""
    with recording(folder, name) as process:
        process.send_signal(getattr(signal, name))
        out, _ = process.communicate(timeout=60)
    assert (process.returncode, "Summary" in out) == (0, True)
    assert not (folder / "x.duckdb.wal").exists()


@pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals of POSIX")
def test_a_terminal_that_is_closed_ends_the_run_in_order(folder: Path) -> None:
    """Nobody can read the verdicts any more; the recording is whole, and the report is in its file."""
    import pty

    (folder / "live.toml").write_text(LIVE_BENCH.format(channel=f"terminal {os.getpid()}"))
    words = ["-m", "busprobe", "record", "--bench", "live.toml", "--out", "x.duckdb", "--json", "x.json"]
    child, terminal = pty.fork()
    if not child:
        os.execv(sys.executable, [sys.executable, *words])
    until = time.monotonic() + 60
    while not (folder / "x.duckdb").exists() and time.monotonic() < until:
        time.sleep(0.02)
    time.sleep(1.0)
    os.close(terminal)
    _, status = os.waitpid(child, 0)
    assert os.waitstatus_to_exitcode(status) == 0
    assert (folder / "x.json").exists()
    assert not (folder / "x.duckdb.wal").exists()


@pytest.mark.skipif(sys.platform == "win32", reason="a signal of POSIX")
def test_without_hangup_means_without(folder: Path) -> None:
    """What `nohup` ignores stays ignored."""
    (folder / "live.toml").write_text(LIVE_BENCH.format(channel=f"nohup {os.getpid()}"))
    words = f"trap '' HUP; exec '{sys.executable}' -m busprobe record --bench live.toml --out x.duckdb"
    process = subprocess.Popen(["sh", "-c", words], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    try:
        until = time.monotonic() + 60
        while process.poll() is None and not (folder / "x.duckdb").exists() and time.monotonic() < until:
            time.sleep(0.02)
        process.send_signal(signal.SIGHUP)
        with pytest.raises(subprocess.TimeoutExpired):
            process.wait(1.0)
        process.send_signal(signal.SIGINT)
        out, _ = process.communicate(timeout=60)
    finally:
        process.kill()
    assert (process.returncode, "Summary" in out) == (0, True)
