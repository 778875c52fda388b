"""A good bench file, what it may leave out, and files that cannot be read at all."""

import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busprobe.bench.load import load, loads
from busprobe.bench.model import Bench, Bus, Expect, Follows, Invariant, Origin, Tap, Trigger
from busprobe.errors import BenchError, OpenError

PATH = Path(__file__).parent / "data" / "van.toml"
VEHICLE = '[vehicle]\nname = "van"\n'


@pytest.fixture(scope="module")
def bench():
    return load(PATH)


def test_bus(bench):
    (bus,) = bench.buses
    assert (bus.name, bus.interface, bus.channel, bus.bitrate) == ("body", "socketcan", "can0", 500_000)
    assert bus.listen_only
    assert bus.recorded_as == ("can1", "2")
    assert bus.uncertainty_ns == 1_000_000
    assert bus.databases == (PATH.parent.absolute() / "patrol_van.dbc",)
    assert bus.options == {"fd": True}, "python-can's own options pass through"


def test_input_box(bench):
    (box,) = bench.boxes
    assert (box.name, box.driver, box.port, box.period_ns) == ("box", "modbus", "/dev/ttyUSB1", 10_000_000)
    door, *_, battery = box.lines
    assert (door.name, door.number, door.active_low, door.debounce_ns) == ("rear_door_pin", 3, True, 20_000_000)
    assert (battery.analogue, battery.above_mv, battery.below_again_mv) == (True, 11_800, 11_200)
    assert battery.wiring == "terminal 30, divider 1:5, fuse 1 A"


def test_obd(bench):
    assert (bench.obd.bus, bench.obd.poll, bench.obd.every_ns) == ("body", (0x0C, 0x0D, 0x42), 500_000_000)


def test_signals(bench):
    gear, speed, _, rear_door, *_ = bench.signals
    assert gear.taps == (Tap("message", "body", "TransmissionStatus", "SelectedGear"),)
    assert gear.values == {"Park": "P", "Reverse": "R", "Neutral": "N", "Drive": "D"}
    assert speed.taps == (Tap("message", "body", "WheelSpeed", "VehicleSpeed"), Tap("obd", "obd", "0D", ""))
    assert (speed.role, speed.unit) == ("speed", "km/h")
    assert rear_door.taps == (Tap("line", "box", "rear_door_pin", ""),)
    assert rear_door.origin == Origin(PATH, 72, 13)


def test_derived_signals_come_after_what_they_are_made_from(bench):
    names = [derived.name for derived in bench.derived]
    assert sorted(names) == ["at_rest", "moving", "secured"]
    assert names[-1] == "at_rest"
    moving = next(derived for derived in bench.derived if derived.name == "moving")
    assert (moving.when.text, moving.above.text, moving.below_again.text) == ("speed", "8 km/h", "5 km/h")
    assert moving.above.origin == Origin(PATH, 81, 37)


def test_checks(bench):
    reverse, strip, loads_shed, beacons, siren = bench.checks
    assert isinstance(reverse, Expect)
    assert (reverse.when.text, reverse.expect.text) == ("gear == 'R'", "rear_white")
    assert (reverse.within_ns, reverse.hold_while_when, reverse.hold_ns) == (300_000_000, True, None)
    assert isinstance(strip, Follows)
    assert (strip.follows.text, strip.on_within_ns, strip.off_within_ns) == ("strip", 200_000_000, 200_000_000)
    assert isinstance(loads_shed, Expect)
    assert (loads_shed.not_before_ns, loads_shed.within_ns) == (29 * 60 * 10**9, 31 * 60 * 10**9)
    assert isinstance(beacons, Invariant)
    assert (beacons.kind, beacons.min_full, beacons.settle_ns) == ("always", 2, 1_500_000_000)
    assert beacons.given.text == "held(side_door, '2 s')"
    assert beacons.condition.origin == Origin(PATH, 108, 1), "the text begins on the line after the quotes"
    assert isinstance(siren, Invariant)
    assert (siren.kind, siren.given, siren.min_full) == ("never", None, 1)


def test_triggers(bench):
    (trigger,) = bench.triggers
    assert isinstance(trigger, Trigger)
    assert (trigger.on.text, trigger.keep_before_ns, trigger.keep_after_ns) == (
        "rises(rear_door) and moving",
        2_000_000_000,
        5_000_000_000,
    )


def test_the_text_is_kept_as_read(bench):
    assert bench.text == PATH.read_text(encoding="utf-8")
    assert bench.vehicle == "Roads patrol van 12"


def test_the_least_bench_file():
    assert loads(VEHICLE) == Bench(path=None, text=VEHICLE, vehicle="van")


BUS = '[[bus]]\nname = "body"\n'
BOX = '[[inputs]]\nname = "box"\ndriver = "modbus"\n'
LINE = '[[inputs.line]]\nname = "a"\nnumber = 0\n'
SIGNAL = '[signals]\na = { from = "obd.0D" }\n'
CHECK = '[[check]]\nname = "x"\n'

GOOD = {
    "only a name": (BUS, lambda b: b.buses[0] == Bus("body", origin=Origin(None, 3, 1))),
    "channel number": (BUS + "channel = 0", lambda b: b.buses[0].channel == "0"),
    "options of the adapter": (
        BUS + 'receive_own_messages = true\napp_name = "x"\nfd_bitrate = 5\n[bus.more]\na = 1',
        lambda b: set(b.buses[0].options) == {"receive_own_messages", "app_name", "fd_bitrate", "more"},
    ),
    "recorded lines need no port": (
        '[[inputs]]\nname = "box"\ndriver = "recorded"\n' + LINE,
        lambda b: (b.boxes[0].driver, b.boxes[0].port, len(b.boxes[0].lines)) == ("recorded", None, 1),
    ),
    "options of the input box": (
        BOX + "baudrate = 115200\nunit = 3",
        lambda b: b.boxes[0].options == {"baudrate": 115200, "unit": 3},
    ),
    "no debounce at all": (BOX + LINE + 'debounce = "0 ms"', lambda b: b.boxes[0].lines[0].debounce_ns == 0),
    "one number for a switch and a voltage": (
        BOX + LINE + LINE.replace('"a"', '"b"') + "analogue = true",
        lambda b: [line.analogue for line in b.boxes[0].lines] == [False, True],
    ),
    "answers of another tester": (
        BUS + '[obd]\nbus = "body"',
        lambda b: (b.obd.poll, b.obd.every_ns) == ((), None),
    ),
    "ten requests a second": (
        BUS + '[obd]\nbus = "body"\npoll = ["0c", "0d", "05", "0f", "11", "2f"]\nevery = "100 ms"',
        lambda b: len(b.obd.poll) == 6,
    ),
    "part of a PID": (SIGNAL + 'b = { from = "obd.14.voltage" }', lambda b: b.signals[1].taps[0].signal == "voltage"),
    "PID in lower case": (SIGNAL + 'b = { from = "obd.0c" }', lambda b: b.signals[1].taps[0].text == "obd.0C"),
    "spelling of a unit": (SIGNAL + 'b = { from = "obd.0D", unit = "kph" }', lambda b: b.signals[1].unit == "km/h"),
    "codes that are not available": (
        SIGNAL + 'b = { from = "obd.0D", unknown = [2, 3], max_age = "2 s" }',
        lambda b: (b.signals[1].unknown_raw, b.signals[1].max_age_ns) == ((2, 3), 2_000_000_000),
    ),
    "one code that is not available": (
        SIGNAL + 'b = { from = "obd.0D", unknown = 3 }',
        lambda b: b.signals[1].unknown_raw == (3,),
    ),
    "a table for each signal": (
        '[signals.v]\nfrom = "obd.0D"\nrole = "speed of wheels"',
        lambda b: b.signals[0].role == "speed of wheels",
    ),
    "levels without unit": (SIGNAL + 'b = { when = "a", above = 3.5 }', lambda b: b.derived[0].above.text == "3.5"),
    "letters of any language": (
        SIGNAL + '"tür" = { from = "obd.0D" }\nb = { when = "tür" }',
        lambda b: b.signals[1].name == "tür",
    ),
    "counting what was so already": (
        SIGNAL + CHECK + 'when = "rises(a)"\nexpect = "a"\nwithin = "1 s"\nalready = "counts"\nhold = "2 s"',
        lambda b: b.checks[0].already_counts and b.checks[0].hold_ns == 2_000_000_000,
    ),
    "following with hold": (
        SIGNAL + CHECK + 'when = "a"\nfollows = "a"\non_within = "1 s"\noff_within = "1 s"\nhold = "while when"',
        lambda b: b.checks[0].hold_while_when,
    ),
    "a check and a trigger with one name": (
        SIGNAL + CHECK + 'never = "a"\n[[trigger]]\nname = "x"\non = "a"',
        lambda b: b.checks[0].name == b.triggers[0].name,
    ),
}


@pytest.mark.parametrize(("text", "holds"), GOOD.values(), ids=list(GOOD))
def test_good(text, holds):
    assert holds(loads(VEHICLE + text))


def test_windows_line_ends_and_byte_order_mark(tmp_path, bench):
    path = tmp_path / "van.toml"
    path.write_bytes(b"\xef\xbb\xbf" + PATH.read_bytes().replace(b"\n", b"\r\n"))
    again = load(path)
    assert again.checks[3].condition.text == bench.checks[3].condition.text
    assert again.checks[3].condition.origin.line == bench.checks[3].condition.origin.line


UNREADABLE = {
    "missing": (None, OpenError, ": There is no such bench file.\nCheck the name and the folder."),
    "empty": (b"", BenchError, ": The bench file is empty."),
    "blank": (b" \n\n", BenchError, ": The bench file is empty."),
    "not UTF-8": (
        b"[vehicle]\nname = 'T\xfcr'",
        BenchError,
        ', line 2: Byte "FC" is not UTF-8 text, as a bench file must be.',
    ),
    "nested too deep": (b"a = " + b"[" * 5000, BenchError, None),
}


@pytest.mark.parametrize(("data", "kind", "message"), UNREADABLE.values(), ids=list(UNREADABLE))
def test_unreadable(tmp_path, data, kind, message):
    path = tmp_path / "van.toml"
    if data is not None:
        path.write_bytes(data)
    with pytest.raises(kind) as caught:
        load(path)
    assert message is None or str(caught.value) == f"{path}{message}"


def test_the_nearest_bench_file_is_named(tmp_path):
    (tmp_path / "patrol_van.toml").touch()
    with pytest.raises(OpenError) as caught:
        load(tmp_path / "patrol_vam.toml")
    assert caught.value.hint == 'Check the name and the folder. Nearest known name: "patrol_van.toml".'


def test_directory(tmp_path):
    with pytest.raises(OpenError) as caught:
        load(tmp_path)
    assert str(caught.value) == f"{tmp_path}: This is a directory; a bench file is wanted."


LINES = [line for line in PATH.read_text(encoding="utf-8").splitlines() if line]


def refusal(text):
    """The error of a bench file; None where there is none."""
    try:
        loads(text)
    except BenchError as error:
        return error
    return None


@settings(max_examples=150, deadline=None, derandomize=True)
@given(st.lists(st.sampled_from(LINES), max_size=25).map("\n".join))
def test_any_mixture_of_lines_is_read_or_refused(text):
    error = refusal(VEHICLE + text)
    assert error is None or error.line is not None


VALUES = st.recursive(
    st.one_of(st.text(max_size=3), st.integers(), st.booleans(), st.floats(), st.sampled_from(["2 s", "obd.0D", "a"])),
    lambda inner: st.one_of(st.lists(inner, max_size=2), st.dictionaries(st.text("ab", max_size=2), inner, max_size=2)),
    max_leaves=4,
)


def toml(value):
    match value:
        case bool():
            return str(value).lower()
        case str():
            return '"' + "".join(f"\\U{ord(c):08x}" for c in value) + '"'
        case list():
            return "[" + ", ".join(map(toml, value)) + "]"
        case dict():
            return "{" + ", ".join(f'"{k}" = {toml(v)}' for k, v in value.items()) + "}"
        case _:
            return str(value)


@settings(max_examples=300, deadline=None, derandomize=True)
@given(st.integers(0, len(LINES) - 1), VALUES)
def test_any_value_of_any_key_is_taken_or_refused(number, value):
    lines = list(LINES)
    lines[number] = lines[number].split("=")[0] + "= " + toml(value)
    error = refusal("\n".join(lines))
    assert error is None or error.line is not None


def test_loading_needs_no_numpy():
    code = "import sys, busprobe.bench.load, busprobe.bench.expression; sys.exit('numpy' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
