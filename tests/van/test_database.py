"""The database of the van, read by cantools as a second opinion on layout and coding."""

from __future__ import annotations

from pathlib import Path

import cantools
import numpy as np
import pytest

from busprobe.bench.load import loads
from busprobe.van.box import ANALOGUE, WIRES
from busprobe.van.catalogue import MESSAGES
from busprobe.van.controller import MOVING_ABOVE, MOVING_BELOW_AGAIN
from busprobe.van.database import database_text
from busprobe.van.faults import CHECKS
from busprobe.van.samples import BENCH_FILE, DATABASE_FILE, VEHICLE, bench_text
from busprobe.van.world import NOT_AVAILABLE_CM, world_of

SAMPLES = Path(__file__).parents[2] / "dbc_samples"
DATABASE = cantools.database.load_string(database_text(), "dbc", strict=True)
BENCH = loads(bench_text(), SAMPLES / BENCH_FILE)


@pytest.mark.parametrize(("name", "text"), [(DATABASE_FILE, database_text()), (BENCH_FILE, bench_text())])
def test_the_shipped_sample_is_what_the_package_writes(name, text):
    assert (SAMPLES / name).read_text(encoding="utf-8") == text


def test_the_database_has_every_kind_of_message_and_signal():
    signals = [s for m in DATABASE.messages for s in m.signals]
    assert len(DATABASE.messages) >= 30
    assert sum(m.is_extended_frame for m in DATABASE.messages) == 3
    assert {s.byte_order for s in signals} == {"little_endian", "big_endian"}
    assert any(s.is_signed and s.byte_order == "big_endian" for s in signals)
    assert any(s.is_signed and s.byte_order == "little_endian" for s in signals)
    assert any(s.offset for s in signals)
    assert [m.name for m in DATABASE.messages if m.is_multiplexed()] == ["TyrePressure"]
    assert {m.send_type for m in DATABASE.messages} == {"Cyclic", "OnChange", "CyclicAndOnChange"}


def test_every_cyclic_message_says_its_cycle():
    for message in DATABASE.messages:
        assert bool(message.cycle_time) == (message.send_type != "OnChange"), message.name


@pytest.mark.parametrize(
    ("message", "signal", "raw", "label"),
    [
        ("TransmissionStatus", "SelectedGear", 0, "Park"),
        ("TransmissionStatus", "SelectedGear", 1, "Reverse"),
        ("TransmissionStatus", "SelectedGear", 2, "Neutral"),
        ("TransmissionStatus", "SelectedGear", 3, "Drive"),
        ("TransmissionStatus", "SelectedGear", 15, "Not available"),
        ("BrakeStatus", "PedalSwitch", 1, "Pressed"),
        ("BrakeStatus", "PedalSwitch", 3, "Not available"),
    ],
)
def test_named_values(message, signal, raw, label):
    assert DATABASE.get_message_by_name(message).get_signal_by_name(signal).choices[raw] == label


def test_29_bit_identifiers_keep_clear_of_j1939():
    """Extended data page 1 with data page 0 is reserved in SAE J1939-21 (from memory)."""
    for message in DATABASE.messages:
        if message.is_extended_frame:
            assert message.frame_id >> 24 & 0b11 == 0b10


@pytest.mark.parametrize("spec", MESSAGES, ids=lambda m: m.name)
def test_frames_decode_to_the_world_that_made_them(spec, good):
    """Up to 60 frames of each message, decoded by cantools, against the quantities of the world."""
    message = DATABASE.get_message_by_name(spec.name)
    frames = good.frames
    rows = np.flatnonzero(frames.carries(spec.name))
    rows = rows[np.unique(np.linspace(0, len(rows) - 1, 60).astype(int))]
    assert message.length == spec.length
    for row in rows:
        assert int(frames.identifier[row]) == message.frame_id
        data = int(frames.payload[row]).to_bytes(8, "little")
        assert not any(data[spec.length :])
        values = message.decode(data[: spec.length], decode_choices=False)
        for signal in message.signals:
            if signal.name in values:
                assert signal.minimum - 1e-9 <= values[signal.name] <= signal.maximum + 1e-9


WORLD_SIGNALS = [
    # message, signal, quantity, largest difference: half a step and what changes while a frame waits
    ("TransmissionStatus", "SelectedGear", "gear", 0),
    ("TransmissionStatus", "EngagedGear", "engaged_gear", 0),
    ("BrakeStatus", "PedalSwitch", "brake", 0),
    ("ParkBrake", "Applied", "park_brake", 0),
    ("IgnitionStatus", "KeyPosition", "key", 0),
    ("TurnSignals", "Lever", "turn", 0),
    ("DoorStatus", "DriverDoor", "driver_door", 0),
    ("SteeringAngle", "Angle", "steering_angle", 0.2),
    ("CoolingFan", "CoolantTemperature", "coolant_temperature", 0.51),
    ("Odometer", "Total", "odometer", 0.051),
    ("ClusterDisplay", "ShownSpeed", "shown_speed", 0.52),
]


@pytest.mark.parametrize(("name", "signal", "quantity", "tolerance"), WORLD_SIGNALS, ids=str)
def test_a_signal_says_what_the_world_says(name, signal, quantity, tolerance, good):
    message = DATABASE.get_message_by_name(name)
    rows = np.flatnonzero(good.frames.carries(name))
    rows = rows[:: max(1, len(rows) // 400)]
    t_ns = good.frames.t_ns[rows] - 1_000_000
    expected = world_of(1).value(quantity, t_ns)
    wrong = 0
    for row, value in zip(rows, expected, strict=True):
        data = int(good.frames.payload[row]).to_bytes(8, "little")[: message.length]
        wrong += abs(message.decode(data, decode_choices=False)[signal] - value) > tolerance
    # A frame made just before a change is stamped just after it: at most one in a hundred.
    assert wrong <= max(1, len(rows) // 100)


def test_parking_aid_has_no_reading_outside_reverse(good):
    raw = good.frames.payload[good.frames.carries("ParkingAid")] & np.uint64(0xFF)
    assert (raw == NOT_AVAILABLE_CM / 2).sum() > (raw != NOT_AVAILABLE_CM / 2).sum() > 50


def test_the_bench_file_shows_every_kind_of_check():
    keys = bench_text()
    assert len(BENCH.checks) >= 12
    assert len(BENCH.triggers) >= 4
    for key in ("hold = \"while when\"", "not_before", "settle", "given", "min_full", "always =", "never =",
                "follows =", "flashing(", "flash_rate(", "on_share(", "steady_off(", "in_step(", "held(",
                "changes(", "below_again", "max_age", "already =", "unknown =", "debounce", "recorded_as"):  # fmt: skip
        assert key in keys, key


def test_the_bench_file_names_the_boxs_wires():
    (box,) = BENCH.boxes
    assert [line.name for line in box.lines] == [*(w.name for w in WIRES), *ANALOGUE]
    for line in box.lines[: len(WIRES)]:
        assert line.number == box.lines.index(line)
        assert line.active_low == WIRES[line.number].active_low


def test_bench_file_and_generator_agree():
    assert BENCH.vehicle == VEHICLE
    assert BENCH.buses[0].listen_only
    assert set(CHECKS.values()) <= {c.name for c in BENCH.checks}
    moving = next(d for d in BENCH.derived if d.name == "moving")
    assert moving.above is not None
    assert moving.below_again is not None
    assert (moving.above.text, moving.below_again.text) == (f"{MOVING_ABOVE:g} km/h", f"{MOVING_BELOW_AGAIN:g} km/h")
