"""Slips of the pen in a bench file are told before anything is opened, for a recording too."""

from pathlib import Path

import pytest

from busprobe.bench.load import loads
from busprobe.cli.main import run
from busprobe.errors import BusprobeError
from busprobe.session.live_bench import live_sources
from busprobe.session.verifying import load_checked

BUS = '[vehicle]\nname = "Van"\n[[bus]]\nname = "body"\n'
LINE = '[[inputs.line]]\nname = "door_pin"\nnumber = 0\n'


def box(rest: str = "", *, driver: str = "text-lines", name: str = "box", port: str = "COM3") -> str:
    return f'[[inputs]]\nname = "{name}"\ndriver = "{driver}"\nport = "{port}"\n{rest}{LINE}'


def written(folder: Path, text: str) -> Path:
    path = folder / "van.toml"
    path.write_text(text)
    return path


OFFLINE = {
    "interface": (
        f'{BUS}interface = "udp_multicsat"\n',
        'Bus "body": unknown interface "udp_multicsat". Nearest known name: "udp_multicast".',
    ),
    "unknown option": (
        BUS + box("baud = 9600\n"),
        'Unknown option "baud" of the input box "box". Nearest known name: "baudrate".',
    ),
    "baud rate below zero": (
        BUS + box("baudrate = -9600\n"),
        'The option "baudrate" of the input box "box" must be a whole number from 300 to 4000000; found -9600.',
    ),
    "period": (
        BUS + box('period = "1 ms"\n', driver="modbus"),
        'The input box "box" cannot be read every 1 ms: ',
    ),
    "number": (
        BUS + box().replace("number = 0", "number = 64"),
        'has the number "64": the driver "text-lines" numbers them 0 to 63.',
    ),
    "role": (
        BUS + '[signals]\nbrake = { from = "body.Brake.Pedal", role = "brakes" }\n',
        'The role "brakes" of "brake" is none of its own. Nearest known name: "brake".',
    ),
}


@pytest.mark.parametrize("case", OFFLINE)
def test_told_with_a_recording_too(case: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text, told = OFFLINE[case]
    path = written(tmp_path, text)
    with pytest.raises(BusprobeError) as caught:
        load_checked(path)
    assert told in caught.value.message
    for line in (["wiring"], ["verify", "none.log"], ["survey", "none.log"]):
        assert run([*line, "--bench", str(path)]) == 3
        assert told in capsys.readouterr().err


def test_what_recordings_need_not_have(tmp_path: Path) -> None:
    """No port, an interface of another package, a role of one's own."""
    text = f'{BUS}interface = "workshop_bus"\n[signals]\nlift = {{ from = "box.door_pin", role = "tail lift" }}\n'
    signals = text.replace("[signals]", box().replace('port = "COM3"\n', "") + "[signals]")
    assert load_checked(written(tmp_path, signals)).signals[0].role == "tail lift"


LIVE = {
    "interface": (
        f'{BUS}interface = "workshop_bus"\n',
        'Bus "body": unknown interface "workshop_bus".',
    ),
    "udp_multicast": (
        f'{BUS}interface = "udp_multicast"\nprot = 43114\n',
        'Bus "body": "udp_multicast" has no option "prot". Nearest known name: "port".',
    ),
    "slcan": (
        f'{BUS}interface = "slcan"\nchannel = "/dev/ttyACM0"\nbitrate = 500000\nfoo = 3\n',
        'Bus "body": "slcan" has no option "foo".',
    ),
    "slcan by an old name": (
        f'{BUS}interface = "slcan"\nchannel = "/dev/ttyACM0"\nbitrate = 500000\nttyBaudrate = 9600\n',
        '"slcan" has no option "ttyBaudrate". Nearest known name: "tty_baudrate".',
    ),
    "speed after @": (
        f'{BUS}interface = "slcan"\nchannel = "/dev/ttyACM0@fast"\nbitrate = 500000\n',
        'Bus "body": the speed of the serial port after "@" must be a whole number; found "fast".',
    ),
    "speed of the port": (
        f'{BUS}interface = "slcan"\nchannel = "/dev/ttyACM0"\nbitrate = 500000\ntty_baudrate = "fast"\n',
        'Bus "body": "tty_baudrate" must be a whole number from 1 up; found "fast".',
    ),
    "two boxes": (
        BUS + box() + box(name="second"),
        'The input box "box" and the input box "second" use the same port, "COM3".',
    ),
    "bus and box": (
        f'{BUS}interface = "slcan"\nchannel = "/dev/ttyACM0@115200"\nbitrate = 500000\n' + box(port="/dev/ttyACM0"),
        'The bus "body" and the input box "box" use the same port, "/dev/ttyACM0".',
    ),
}


@pytest.mark.parametrize("case", LIVE)
def test_told_before_anything_is_opened(case: str, tmp_path: Path) -> None:
    text, told = LIVE[case]
    bench = load_checked(written(tmp_path, text))
    with pytest.raises(BusprobeError) as caught:
        live_sources(bench)
    assert told in caught.value.message


@pytest.mark.parametrize(
    "rest",
    [
        'interface = "udp_multicast"\nport = 43114\nhop_limit = 0\nfd = false\n',
        'interface = "slcan"\nchannel = "COM7"\nbitrate = 500000\ntty_baudrate = 9600\nsleep_after_open = 0.5\n',
        'interface = "slcan"\nchannel = "COM7"\nf_clock = 8000000\nbrp = 1\ntseg1 = 12\ntseg2 = 3\nsjw = 1\n',
        'interface = "socketcan"\nchannel = "can0"\nfd = true\nignore_rx_error_frames = true\n',
        'interface = "virtual"\nchannel = "1"\nreceive_own_messages = true\n',
        'interface = "pcan"\nchannel = "PCAN_USBBUS1"\nbitrate = 500000\nauto_reset = true\n',
    ],
)
def test_options_of_the_drivers_are_taken(rest: str, tmp_path: Path) -> None:
    live_sources(load_checked(written(tmp_path, BUS + rest)))


def test_a_recording_with_such_a_bench_file_is_still_opened() -> None:
    """What it holds was taken when it was made."""
    text = OFFLINE["role"][0].replace("body.Brake.Pedal", "body.Lamps.RearWhite")
    assert loads(text).signals[0].role == "brakes"
