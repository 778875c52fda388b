"""A bench with one check, and recordings of it that end each way."""

from collections.abc import Callable
from pathlib import Path

import pytest

from busprobe.cli.main import run

DATABASE = """\
VERSION ""

BU_: Van

BO_ 256 Transmission: 2 Van
 SG_ Gear : 0|2@1+ (1,0) [0|3] "" Van
 SG_ Speed : 8|8@1+ (1,0) [0|255] "km/h" Van

BO_ 512 Lamps: 1 Van
 SG_ RearWhite : 0|1@1+ (1,0) [0|1] "" Van

VAL_ 256 Gear 0 "Park" 1 "Reverse" 2 "Neutral" 3 "Drive" ;
"""
BENCH = """\
[vehicle]
name = "Roads patrol van 12"
[[bus]]
name = "body"
interface = "socketcan"
channel = "can0"
bitrate = 500000
databases = ["van.dbc"]
[signals]
gear = { from = "body.Transmission.Gear" }
rear_white = { from = "body.Lamps.RearWhite" }
[[check]]
name = "Rear white lamp follows reverse"
when = "gear == 'Reverse'"
expect = "rear_white"
within = "300 ms"
[[trigger]]
name = "Reverse selected"
on = "rises(gear == 'Reverse')"
"""


def drive(*, lamp_after_ms: int = 100, reverse: bool = True, lamp_lost: bool = False) -> str:
    """Candump text of 6 s: reverse from 2 s to 4 s, both messages every 20 ms."""
    lines = []
    for ms in range(0, 6000, 20):
        stamp = f"({1_768_374_000 + ms // 1000}.{ms % 1000:03d}000) can0"
        in_reverse = reverse and 2000 <= ms < 4000
        lamp = reverse and 2000 + lamp_after_ms <= ms < 4000
        lines.append(f"{stamp} 100#{'01' if in_reverse else '00'}05\n")
        if not (lamp_lost and 1900 <= ms < 3500):
            lines.append(f"{stamp} 200#{'01' if lamp else '00'}\n")
    return "".join(lines)


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The working directory, with the bench file, its database and a drive for each verdict."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "van.dbc").write_text(DATABASE)
    (tmp_path / "van.toml").write_text(BENCH)
    (tmp_path / "good.log").write_text(drive())
    (tmp_path / "late.log").write_text(drive(lamp_after_ms=500))
    (tmp_path / "lost.log").write_text(drive(lamp_lost=True))
    (tmp_path / "parked.log").write_text(drive(reverse=False))
    return tmp_path


class Said(tuple[int, str, str]):
    """Exit status, stdout and stderr of a command."""

    __slots__ = ()

    @property
    def status(self) -> int:
        return self[0]

    @property
    def out(self) -> str:
        return self[1]

    @property
    def err(self) -> str:
        return self[2]


@pytest.fixture
def busprobe(folder: Path, capsys: pytest.CaptureFixture[str]) -> Callable[[str], Said]:
    """Runs a command line in `folder`."""

    def call(line: str) -> Said:
        status = run(line.split())
        out, err = capsys.readouterr()
        return Said((status, out, err))

    return call
