"""Simulated input boxes at the wire: what they print, and that they come and go cleanly."""

import os
import threading
import time
from pathlib import Path

import pytest

from busprobe.errors import DeviceError
from busprobe.van.box_ports import Levels, ModbusPort, TextLinePort, header, text_line
from busprobe.van.pseudo_port import PseudoPort

PATIENCE_S = 60.0


def printed(path: str, count: int) -> bytes:
    """At least so many lines from a port; never for ever."""
    fd = os.open(path, os.O_RDONLY | os.O_NOCTTY | os.O_NONBLOCK)
    data, deadline = b"", time.monotonic() + PATIENCE_S
    try:
        while data.count(b"\n") < count:
            assert time.monotonic() < deadline
            try:
                data += os.read(fd, 4096)
            except BlockingIOError:
                time.sleep(0.002)
    finally:
        os.close(fd)
    return data


@pytest.mark.parametrize(
    ("time_us", "levels", "on_off", "line"),
    [
        (0, Levels(0), 1, b"0 0 #80\r\n"),
        (2**32 + 5, Levels(0b110), 4, b"5 0110 #17\r\n"),
        (12_345_678, Levels(0b01100100, (12_840, 9_105)), 8, b"12345678 00100110 12840 9105 #55\r\n"),
    ],
)
def test_text_line(time_us: int, levels: Levels, on_off: int, line: bytes) -> None:
    assert text_line(time_us, levels, on_off) == line


def test_a_header_then_a_line_every_period() -> None:
    with TextLinePort(lambda t_ns: Levels(t_ns % 2, (5,)), 2, period_ns=1_000_000, first_us=7_000) as box:
        lines = printed(box.port, 12).split(b"\r\n")
    assert lines[0] + b"\r\n" == header(2, 1) == b"# 2 lines, 1 voltages\r\n"
    assert [int(line.split()[0]) for line in lines[1:11]] == [7_000 + 1_000 * k for k in range(10)]


def test_levels_are_asked_for_the_very_time_of_the_line() -> None:
    asked: list[int] = []

    def levels(t_ns: int) -> Levels:
        asked.append(t_ns)
        return Levels(0)

    with TextLinePort(levels, 1, period_ns=2_000_000) as box:
        printed(box.port, 5)
    assert len(asked) >= 4
    assert {(t_ns - asked[0]) % 2_000_000 for t_ns in asked} == {0}


def test_nobody_reads_and_nothing_blocks() -> None:
    port, is_done = PseudoPort(), threading.Event()

    def fill() -> None:
        for _ in range(100):
            port.write(b"x" * 1000)
        port.close()
        port.close()
        is_done.set()

    threading.Thread(target=fill, daemon=True).start()
    assert is_done.wait(PATIENCE_S)


def test_a_link_comes_and_goes(tmp_path: Path) -> None:
    link = tmp_path / "van-box"
    for kind in (
        lambda: TextLinePort(lambda _: Levels(0), 1, link=link),
        lambda: ModbusPort(lambda _: Levels(0), link=link),
    ):
        box = kind()
        assert str(link.readlink()) == box.port
        box.close()
        assert not link.is_symlink()
        assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("kind", [TextLinePort, ModbusPort], ids=["text lines", "Modbus"])
def test_a_link_in_use_is_not_taken_away(kind, tmp_path: Path) -> None:
    link = tmp_path / "van-box"
    lines = {"on_off": 1} if kind is TextLinePort else {}
    box = TextLinePort(lambda _: Levels(0), 1, link=link)
    with pytest.raises(DeviceError) as caught:
        kind(lambda _: Levels(0), link=link, **lines)
    assert str(caught.value) == (
        f'The port "{link}" belongs to a simulated van that is running (process {os.getpid()}).\n'
        'End that one first, or give this one a bench file of its own: another "port" of its bus, and of its input '
        'box a name that begins with "van-" too, such as "van-second".'
    )
    assert str(link.readlink()) == box.port
    box.close()
    kind(lambda _: Levels(0), link=link, **lines).close()


def test_a_link_and_a_lock_file_left_behind_are_replaced(tmp_path: Path) -> None:
    link = tmp_path / "van-box"
    link.symlink_to("/dev/pts/nobody")
    link.with_name("van-box.lock").write_text("123456789")
    port = PseudoPort()
    port.link(link)
    assert (str(link.readlink()), link.with_name("van-box.lock").read_text()) == (port.path, str(os.getpid()))
    port.close()
    assert list(tmp_path.iterdir()) == []
