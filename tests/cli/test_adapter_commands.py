"""The commands `adapters` and `listen-rate`."""

import sys
from pathlib import Path

import pytest

from busprobe.cli.main import run
from busprobe.sources import rate_finder

sys.path.insert(0, str(Path(__file__).parent.parent / "sources"))
from slcan_adapter import SlcanAdapter

BENCH = """\
[vehicle]
name = "Roads patrol van 12"
[[bus]]
name = "body"
interface = "slcan"
channel = "PORT"
sleep_after_open = 0
"""


@pytest.mark.parametrize("command", ["adapters", "listen-rate"])
def test_help_has_an_example(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run([command, "--help"]) == 0
    assert f"busprobe {command}" in capsys.readouterr().out.split("Example")[1]


def test_adapters_prints_what_to_do_next(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["adapters", "--wait", "0.5"]) == 0
    out, err = capsys.readouterr()
    assert "Without any hardware" in out
    assert err == ""


@pytest.fixture
def brisk(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(rate_finder, "LISTEN_NS", 100_000_000)
    defaults = (rate_finder.RATES[:3], 100_000_000, None, rate_finder.SETTLE_NS)
    monkeypatch.setattr(rate_finder.search, "__defaults__", defaults)


def test_a_rate_is_found(brisk: None, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with SlcanAdapter(vehicle_rate=250_000, traffic=("t1232AABB",)) as adapter:
        bench = tmp_path / "van.toml"
        bench.write_text(BENCH.replace("PORT", adapter.port))
        assert run(["listen-rate", "body", "--bench", str(bench)]) == 0
        assert "O" not in adapter.commands
        assert not adapter.sent
    out = capsys.readouterr().out.splitlines()
    assert out[0] == f"Listening at slcan:{adapter.port}; nothing is sent."
    assert out[1].strip() == "500 kbit/s     0 good frames,    0 error frames  silent"
    assert out[2].strip().endswith("0 error frames  right")
    assert out[-1] == "The bus runs at 250 kbit/s: write bitrate = 250000 in its [[bus]]."


def test_silence(brisk: None, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with SlcanAdapter() as adapter:
        bench = tmp_path / "van.toml"
        bench.write_text(BENCH.replace("PORT", adapter.port))
        assert run(["listen-rate", "body", "--bench", str(bench)]) == 1
    out = capsys.readouterr().out
    assert "Silence at every bit rate. That says nothing of the bit rate." in out
    assert "1. Ignition on, then wait 10 s" in out


@pytest.mark.parametrize(
    ("words", "text"),
    [
        (
            ["slcan"],
            '"slcan" is no adapter: write interface:channel, such as slcan:/dev/ttyACM0, or give --bench.',
        ),
        (["virtual:x"], '"virtual" has no bit rate: there is no wire.'),
        (["gs_usb:0"], '"gs_usb" cannot be kept from acknowledging'),
    ],
    ids=["no channel", "no wire", "no listening"],
)
def test_what_cannot_be_used(words: list[str], text: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["listen-rate", *words]) == 3
    assert text in capsys.readouterr().err


def test_a_bus_that_the_bench_file_does_not_have(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bench = tmp_path / "van.toml"
    bench.write_text(BENCH)
    assert run(["listen-rate", "bdy", "--bench", str(bench)]) == 3
    assert capsys.readouterr().err.strip() == (
        f'{bench}: There is no bus "bdy". Nearest known name: "body".\nBuses there: "body".'
    )
