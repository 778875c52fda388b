"""`busprobe simulate` as a process of its own, heard from this one on loopback."""

from __future__ import annotations

import itertools
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import can
import pytest

from busprobe.cli.main import run
from busprobe.sources.ports import van_port
from busprobe.van.load import GROUP
from busprobe.van.samples import bench_text

termios = pytest.importorskip("termios")
pytestmark = pytest.mark.skipif(os.name != "posix", reason="pseudo-terminals")

PATIENCE_S = 60.0
GEARBOX = 0x0E4


class Setup:
    """A bench file on a bus and port that no other test uses."""

    def __init__(self, folder: Path) -> None:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            probe.bind(("", 0))
            self.udp_port: int = probe.getsockname()[1]
        self.link = van_port(f"van-{self.udp_port}")
        self.bench = folder / "van.toml"
        text = bench_text().replace("port = 43113", f"port = {self.udp_port}")
        self.bench.write_text(text.replace('"van-box"', f'"van-{self.udp_port}"'))

    @contextmanager
    def van(self, *arguments: str, stdin: int = subprocess.DEVNULL) -> Iterator[subprocess.Popen[str]]:
        """The van in another process; it is killed if it does not end by itself."""
        command = [sys.executable, "-m", "busprobe", "simulate", "--bench", str(self.bench), *arguments]
        process = subprocess.Popen(
            command, stdin=stdin, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )  # fmt: skip
        try:
            yield process
        finally:
            process.kill()
            process.communicate()


@pytest.fixture
def setup(tmp_path: Path) -> Setup:
    return Setup(tmp_path)


@pytest.fixture
def bus(setup: Setup) -> Iterator[can.BusABC]:
    with can.Bus(interface="udp_multicast", channel=GROUP, port=setup.udp_port, hop_limit=0) as bus:
        yield bus


def frames_while(bus: can.BusABC, process: subprocess.Popen[str]) -> list[can.Message]:
    """All frames until the van has ended."""
    frames = []
    end = time.monotonic() + PATIENCE_S
    while time.monotonic() < end:
        frame = bus.recv(0.2)
        if frame is not None:
            frames.append(frame)
        elif process.poll() is not None:
            break
    return frames


def test_a_script_takes_effect_and_the_van_ends_by_itself(setup, bus, tmp_path):
    script = tmp_path / "faults.toml"
    script.write_text('[[fault]]\nat = "800 ms"\nfault = "lost TransmissionStatus"\nfor = "1 s"\n')
    arguments = ("--from", "2m", "--for", "2500ms", "--faults", "late siren", "--script", str(script))
    with setup.van(*arguments) as process:
        frames = frames_while(bus, process)
        out, err = process.communicate(timeout=PATIENCE_S)
    assert (process.returncode, err) == (0, "")
    stamps = [f.timestamp for f in frames if f.arbitration_id == GEARBOX]
    gaps = [after - before for before, after in itertools.pairwise(stamps)]
    assert len(stamps) > 50
    assert max(gaps) > 0.9
    begin = stamps[gaps.index(max(gaps))]
    between = [f for f in frames if begin < f.timestamp < begin + max(gaps)]
    assert len(between) > 200
    lines = out.splitlines()
    assert lines[0] == f'Simulated van on the bus "body": udp_multicast {GROUP}, port {setup.udp_port}'
    assert lines[1].startswith("Input box on /dev/")
    states = [line.split("  ", 1)[1] for line in lines[3:-1]]
    assert states[0].endswith("km/h  gear D  doors shut  bus awake  faults: late siren")
    assert states[1].endswith("faults: late siren, lost TransmissionStatus")
    assert states[2].endswith("faults: late siren")
    assert " frames sent, at most " in lines[-1]
    assert not setup.link.is_symlink()


@pytest.mark.parametrize("sign", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP], ids=lambda s: s.name)
def test_a_signal_ends_it_cleanly(sign, setup, bus):
    with setup.van("--from", "2m") as process:
        assert bus.recv(PATIENCE_S) is not None
        assert setup.link.is_symlink()
        process.send_signal(sign)
        out, err = process.communicate(timeout=PATIENCE_S)
    assert (process.returncode, err) == (0, "")
    assert " sent, at most " in out.splitlines()[-1]
    assert not setup.link.is_symlink()


def test_a_key_sets_a_fault_and_another_ends_the_van(setup, bus):
    keyboard, terminal = os.openpty()
    try:
        with setup.van("--from", "2m", stdin=terminal) as process:
            # What is typed before the terminal gives single keys is lost.
            assert _until(lambda: not termios.tcgetattr(terminal)[3] & termios.ICANON)
            os.write(keyboard, b"xn")  # x does nothing, and says so
            assert _until(lambda: bus.recv(0.3) is None)
            os.write(keyboard, b"q")
            out, err = process.communicate(timeout=PATIENCE_S)
    finally:
        os.close(keyboard)
        os.close(terminal)
    assert (process.returncode, err) == (0, "")
    lines = out.splitlines()
    assert "  n  bus silent" in lines
    assert "  q  end" in lines
    assert 'The key "x" does nothing here: l s d t c b n i set a fault and take it back, q ends.' in lines
    assert any(line.endswith("faults: bus silent") for line in lines)


def test_lines_of_stdin_set_faults_and_its_end_ends_the_van(setup, bus):
    with setup.van("--from", "2m", "--stdin", stdin=subprocess.PIPE) as process:
        assert bus.recv(PATIENCE_S) is not None
        process.stdin.write("rust\nBus silent\n")
        process.stdin.flush()
        assert _until(lambda: bus.recv(0.3) is None)
        process.stdin.write("bus silent\n")
        process.stdin.flush()
        assert _until(lambda: bus.recv(0.3) is not None)
        out, err = process.communicate(timeout=PATIENCE_S)
    assert process.returncode == 0
    assert err.startswith('Unknown fault "rust')
    assert any(line.endswith("faults: bus silent") for line in out.splitlines())
    assert not setup.link.is_symlink()


def test_a_second_van_leaves_the_first_its_box_and_a_killed_one_is_replaced(setup, bus):
    with setup.van("--from", "2m") as first:
        assert bus.recv(PATIENCE_S) is not None
        box = setup.link.readlink()
        with setup.van("--from", "2m") as second:
            out, err = second.communicate(timeout=PATIENCE_S)
        assert (second.returncode, out) == (3, "")
        said = f'The port "{setup.link}" belongs to a simulated van that is running (process {first.pid}).\n'
        assert err.startswith(said)
        assert (setup.link.readlink(), first.poll()) == (box, None)
        first.kill()
        first.communicate(timeout=PATIENCE_S)
    assert setup.link.is_symlink()
    with setup.van("--from", "2m", "--for", "200ms") as third:
        _, err = third.communicate(timeout=PATIENCE_S)
    assert (third.returncode, err) == (0, "")
    assert not setup.link.is_symlink()


def _until(condition: Callable[[], bool]) -> bool:
    end = time.monotonic() + PATIENCE_S
    while time.monotonic() < end:
        if condition():
            return True
        time.sleep(0.01)
    return False


BAD = [
    (
        ["--faults", "low battery,late rear whte"],
        'Unknown fault "late rear whte". Nearest known name: "late rear white".',
    ),
    (["--script", "none.toml"], "none.toml: The script cannot be read: No such file or directory."),
    (["--bench", "none.toml"], "none.toml: There is no such bench file."),
    (["--for", "soon"], "\"soon\" is no duration: write it like '300 ms', '2 s', '31 min' or '1.5 h'."),
]


@pytest.mark.parametrize(("arguments", "message"), BAD, ids=["fault", "script", "bench", "duration"])
def test_what_cannot_be_used(arguments, message, capsys):
    assert run(["simulate", *arguments]) == 3
    assert message in capsys.readouterr().err


def test_help_shows_faults_and_script(capsys):
    assert run(["simulate", "--help"]) == 0
    text = capsys.readouterr().out
    assert '"late OUTPUT"' in text
    assert "[[fault]]" in text


def test_contradictory_faults_are_refused(capsys) -> None:
    assert run(["simulate", "--faults", "stuck on siren,stuck off siren", "--for", "1s"]) == 3
    assert '"stuck on siren" and "stuck off siren" contradict each other' in capsys.readouterr().err
