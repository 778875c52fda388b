"""Literal pictures of the patrol van, 200 s into a drive: what every screen test is fed.

Times are ns since the epoch; the drive starts at START. One gear change to reverse has just
happened, the rear door opened while moving, one beacon check failed, the driver door is unknown.
"""

from __future__ import annotations

import dataclasses

import numpy as np

from busprobe.analysis.intervals import Sending
from busprobe.engine.history import Bounce
from busprobe.health import Faults
from busprobe.results import CheckResult, Occurrence, Outcome, TriggerEntry, Verdict
from busprobe.session.downs import Down, DownsNow
from busprobe.session.snapshot import (
    BitField,
    ClosedBox,
    FrameDetail,
    FrameTable,
    Kind,
    Mark,
    RecorderNow,
    SignalNow,
    SignalPath,
    Snapshot,
    SourceNow,
    Stage,
    User,
)
from busprobe.session.strips import SLICES, Strip
from busprobe.timeline import NEVER

MS = 1_000_000
S = 1_000_000_000
START = 1_768_000_000 * S
NOW = START + 200 * S
END = START + 612 * S
VEHICLE = "Harrowdale County Roads, winter patrol van 12"
OFF, ON, UNKNOWN, ASLEEP = 0, 1, 2, 3


def at(seconds: float) -> int:
    """A time of the drive."""
    return START + round(seconds * S)


def strip(code: str, value: list[float] | None = None) -> Strip:
    """Slices of one second up to NOW: "0011?" with ? unknown and z asleep, repeated to 30."""
    codes = (code * SLICES)[-SLICES:]
    numbers = bytes("01?z".index(c) for c in codes)
    if value is None:
        return Strip(numbers, None)
    values = np.resize(np.array(value, np.float64), SLICES)
    return Strip(numbers, tuple(v if code == ON else np.nan for code, v in zip(numbers, values.tolist(), strict=True)))


def condition(
    name: str, code: int, source: str, since: float | None, *, role: str | None = None, kind: Kind = Kind.LINE,
    age: int | None = 4 * MS, edges: int = 0, history: str = "0", max_age: int | None = None, why: str = "lost",
) -> SignalNow:  # fmt: skip
    text = {OFF: "off", ON: "on", UNKNOWN: f"unknown ({why})", ASLEEP: "unknown (asleep)"}[code]
    since_ns = None if since is None else at(since)
    return SignalNow(
        name, role, kind, source, code, True, None, text, None, since_ns, age, max_age, edges, lambda: strip(history),
        poll_ns=10 * MS if source.startswith("box.") else None,
    )  # fmt: skip


def quantity(
    name: str, value: float, text: str, unit: str | None, source: str, since: float, *, role: str | None = None,
    age: int = 12 * MS, max_age: int | None = 300 * MS, edges: int = 900, history: list[float] | None = None,
) -> SignalNow:  # fmt: skip
    trace = strip("1", history) if history is not None else strip("1", [value])
    return SignalNow(
        name, role, Kind.BUS, source, ON, False, value, text, unit, at(since), age, max_age, edges, lambda: trace
    )


SIGNALS: tuple[SignalNow, ...] = (
    quantity(
        "gear", 1.0, "R", None, "body.TransmissionStatus.SelectedGear", 198.2, role="gear", edges=7, history=[0, 0, 1]
    ),
    quantity(
        "speed", 12.4, "12.4 km/h", "km/h", "body.WheelSpeed.VehicleSpeed", 199.98, role="speed", edges=2210,
        history=[0, 3, 7, 12, 18, 24, 31, 28, 20, 12.4],
    ),
    quantity(
        "rpm", 1105.0, "1105 rpm", "rpm", "body.EngineData.EngineSpeed", 199.99, edges=9804,
        history=[800, 900, 1400, 1250, 1105],
    ),
    quantity("module_volts", 13.9, "13.9 V", "V", "obd.42", 199.6, age=400 * MS, max_age=1500 * MS, edges=31),
    condition(
        "brake", ON, "body.BrakeStatus.PedalSwitch", 197.9, role="brake", kind=Kind.BUS, age=8 * MS, max_age=60 * MS,
        edges=15, history="0001100111",
    ),
    condition(
        "park_brake", OFF, "body.ParkBrake.Applied", 21.4, role="park brake", kind=Kind.BUS, age=90 * MS,
        max_age=600 * MS, edges=1,
    ),
    quantity("turn", 0.0, "Off", None, "body.TurnSignals.Lever", 150.0, role="turn", edges=4, history=[0, 1, 0]),
    quantity("key", 2.0, "Run", None, "body.IgnitionStatus.KeyPosition", 3.1, edges=2),
    condition(
        "driver_door", UNKNOWN, "body.DoorStatus.DriverDoor", None, role="door", kind=Kind.BUS, age=None,
        max_age=3600 * S, history="?", why="not seen yet",
    ),
    quantity(
        "road_temperature", -3.0, "-3 °C", "°C", "body.AmbientConditions.RoadTemperature", 180.0, age=700 * MS,
        max_age=3 * S, edges=5, history=[-2, -2, -3],
    ),
    condition("ignition", ON, "box.ignition_sense", 3.0, role="ignition", edges=1, history="1"),
    quantity(
        "battery", 13.62, "13.62 V", "V", "box.battery", 199.9, role="battery", age=4 * MS, max_age=None, edges=4100,
        history=[13.6, 13.7, 13.5],
    ),
    condition("rear_door", ON, "box.rear_door_pin", 199.1, role="door", edges=3, history="00000000011"),
    condition("side_door", OFF, "box.side_door_pin", 88.0, role="door", edges=6),
    condition("beacon_switch", ON, "box.beacon_switch", 30.0, edges=1, history="1"),
    condition("siren_switch", OFF, "box.siren_switch", None),
    condition("warning_switch", OFF, "box.warning_switch", 120.0, edges=2),
    condition("beacon_left", ON, "box.beacon_left", 199.8, kind=Kind.OUTPUT, edges=512, history="10"),
    condition("beacon_right", OFF, "box.beacon_right", 199.7, kind=Kind.OUTPUT, edges=498, history="01"),
    condition("front_white", OFF, "box.front_white", 199.5, kind=Kind.OUTPUT, edges=120, history="1100"),
    condition("rear_white", ON, "box.rear_white", 198.31, kind=Kind.OUTPUT, edges=7, history="0000000111"),
    condition("strip", OFF, "box.strip", 88.1, kind=Kind.OUTPUT, edges=6),
    condition("siren", OFF, "box.siren", None, kind=Kind.OUTPUT),
    condition("door_alert", ON, "box.door_alert", 199.3, kind=Kind.OUTPUT, edges=3, history="00000000001"),
    condition("rear_warning", OFF, "box.rear_warning", 121.0, kind=Kind.OUTPUT, edges=4),
    condition("aux_feed", ON, "box.aux_feed_volts", 3.4, kind=Kind.OUTPUT, edges=1, history="1"),
    condition("moving", ON, "speed, above 8 km/h", 192.0, kind=Kind.DERIVED, age=None, edges=9, history="0111"),
    condition("turning", OFF, "turn == 'Left' or turn == 'Right'", 150.0, kind=Kind.DERIVED, age=None, edges=4),
    condition("secured", OFF, "gear == 'P' or (gear == 'N' and park_brake)", 25.0, kind=Kind.DERIVED, age=None,
              edges=1),
)  # fmt: skip

_FRAMES = (
    # identifier, message, period ms, jitter us, count, payload, changed, share
    (0x0C2, "EngineData", 10, 120, 20_000, "42 11 1E 28 00 01 07 9A", "FF 00 00 0F 00 00 0F FF", 0.055),
    (0x0D0, "SteeringAngle", 10, 95, 20_001, "00 3C 00 05 03 51", "00 1F 00 00 0F FF", 0.047),
    (0x0E4, "TransmissionStatus", 20, 210, 10_000, "01 1F 5A 20 43 C1", "03 1F 00 00 F0 FF", 0.024),
    (0x0F1, "BrakeStatus", 20, 180, 9_998, "01 4E 09 77", "03 FF 0F FF", 0.020),
    (0x110, "WheelSpeed", 20, 150, 9_640, "D8 04 C6 60 0C C6 60 0C", "FF 01 FF 0F 00 FF 0F 00", 0.028),
    (0x12C, "VehicleDynamics", 20, 400, 9_999, "00 10 02 00 0B 00", "00 00 00 00 0F 00", 0.024),
    (0x180, "IgnitionStatus", 100, 900, 2_000, "12 00 05", "00 00 0F", 0.004),
    (0x1A0, "ParkBrake", 200, 1_100, 1_000, "00 09", "00 0F", 0.002),
    (0x1B4, "TurnSignals", 100, 700, 2_000, "00 00", "00 00", 0.004),
    (0x2F0, "", 500, 4_000, 400, "00 FF A5 00", "00 00 00 00", 0.001),
    (0x7E8, "", 500, 21_000, 391, "03 41 42 36 4C 00 00 00", "00 00 00 FF 00 00 00 00", 0.001),
)


def frame_table(rows: int | None = None) -> FrameTable:
    """The frames heard; rows: as many, the same ones over again under other identifiers."""
    some = [_FRAMES[i % len(_FRAMES)] for i in range(len(_FRAMES) if rows is None else rows)]
    turns = np.array([i // len(_FRAMES) for i in range(len(some))])
    n = len(some)
    return FrameTable(
        channels=("body",),
        channel=np.zeros(n, np.uint8),
        identifier=np.array([f[0] for f in some], np.uint32) + (turns * 0x800).astype(np.uint32),
        is_extended=(turns > 0).astype(np.uint8),
        count=np.array([f[4] for f in some], np.int64),
        period_ns=np.array([f[2] * MS for f in some], np.int64),
        jitter_ns=np.array([f[3] * 1000 for f in some], np.int64),
        last_ns=np.array([NOW - f[2] * MS // 2 for f in some], np.int64),
        length=np.array([len(bytes.fromhex(f[5])) for f in some], np.uint8),
        words=np.array([_words(f[5]) for f in some], np.uint64).reshape(n, 8),
        changed=np.array([_words(f[6]) for f in some], np.uint64).reshape(n, 8),
        changed_ns=np.array([_changed_ns(*f[:3], f[6]) for f in some], np.int64),
        share=np.array([f[7] for f in some]),
        message=tuple(f[1] if turns[i] == 0 else "" for i, f in enumerate(some)),
        sending=(Sending.CYCLIC,) * n,
    )


def _changed_ns(identifier: int, message: str, period_ms: int, changed: str) -> int:
    """With the newest frame; of what is not marked long ago, or never where no database has it."""
    if any(_words(changed)):
        return NOW - period_ms * MS // 2
    return NOW - 42 * S if message else NEVER


def _words(text: str) -> list[int]:
    data = bytes.fromhex(text).ljust(64, b"\0")
    return [int.from_bytes(data[i : i + 8], "little") for i in range(0, 64, 8)]


DETAIL = FrameDetail(
    "body", 0x0E4, False, "TransmissionStatus", NOW - 10 * MS, bytes.fromhex("011F5A2043C1"),
    bytes.fromhex("031F0000F0FF"),
    (
        BitField("SelectedGear", (3, 2, 1, 0), 1, "Reverse"),
        BitField("EngagedGear", (12, 11, 10, 9, 8), -1, "-1"),
        BitField("OilTemperature", (23, 22, 21, 20, 19, 18, 17, 16), 90, "50 °C"),
        BitField("OutputShaftSpeed", (35, 34, 33, 32, 31, 30, 29, 28, 27, 26, 25, 24), 800, "800 rpm"),
        BitField("Counter", (39, 38, 37, 36), 4, "4"),
        BitField("Checksum", (47, 46, 45, 44, 43, 42, 41, 40), 193, "193"),
    ),
    "Sent by the transmission control unit every 20 ms.",
)  # fmt: skip


def _passed(t: float, latency_ms: float, *, tight: bool = False, part: str = "") -> Occurrence:
    return Occurrence(
        at(t), at(t + latency_ms / 1000), Outcome.PASSED, part, round(latency_ms * MS), 5 * MS, tight
    )  # fmt: skip


CHECKS: tuple[CheckResult, ...] = (
    CheckResult(
        "Rear white lamp follows reverse", Verdict.PASS,
        (_passed(41.0, 112), _passed(97.5, 108), _passed(198.2, 296, tight=True)),
        "expect", "rear_white within 300 ms of gear == 'R'", 300 * MS, when="gear == 'R'",
    ),
    CheckResult(
        "Rear white lamp dark outside reverse", Verdict.PASS,
        (Occurrence(at(0), at(200), Outcome.PASSED),), "never", "never rear_white and gear != 'R'",
    ),
    CheckResult(
        "Work lamp strip follows the side door", Verdict.PASS,
        (_passed(60.0, 81, part="on"), _passed(88.0, 95, part="off")),
        "follows", "strip on within 200 ms, off within 200 ms of side_door", 200 * MS,
    ),
    CheckResult(
        "Beacons flash in step", Verdict.FAIL,
        (
            _passed(30.0, 0),
            Occurrence(
                at(142.1), at(142.2), Outcome.FAILED, "", None, 5 * MS, length_ns=340 * MS, at_ns=at(142.1),
                note="out of step", signals={"beacon_left": "on", "beacon_right": "off"},
            ),
        ),
        "always", "always in_step(beacon_left, beacon_right, '30 ms')",
    ),
    CheckResult(
        "Siren silent in park", Verdict.NOT_EXERCISED, (), "never", "never siren and gear == 'P'",
    ),
    CheckResult(
        "Door alert follows a door open on the move", Verdict.UNDECIDED,
        (
            _passed(199.1, 204, part="on"),
            Occurrence(
                at(120.0), at(120.4), Outcome.UNDECIDED, "off", None, 5 * MS, note="speed unknown",
                signals={"moving": "unknown", "door_alert": "on"},
            ),
        ),
        "follows", "door_alert on within 400 ms, off within 400 ms of moving and a door", 400 * MS,
    ),
    CheckResult(
        "Auxiliary feed shed after key-off", Verdict.NOT_EXERCISED,
        (Occurrence(at(2.0), at(3.0), Outcome.CUT, note="data ended"),),
        "expect", "not aux_feed, 18 s to 22 s after falls(ignition)", 22 * S,
    ),
)  # fmt: skip

TRIGGERS: tuple[TriggerEntry, ...] = (
    TriggerEntry("Auxiliary feed changes", at(3.4), at(3.4), {"aux_feed": "on"}),
    TriggerEntry("Reverse selected", at(41.0), at(41.0), {"gear": "R"}),
    TriggerEntry("Reverse selected", at(97.5), at(97.5), {"gear": "R"}),
    TriggerEntry("Siren sounds", at(131.2), at(131.2), {"siren": "on"}, at(130.2), at(132.2)),
    TriggerEntry("Reverse selected", at(198.2), at(198.2), {"gear": "R"}),
    TriggerEntry(
        "Rear door opens while moving", at(199.1), at(199.1), {"rear_door": "on", "moving": "on", "speed": "12.4 km/h"},
        at(197.1), at(204.1),
    ),
)  # fmt: skip

SOURCES: tuple[SourceNow, ...] = (
    SourceNow(
        "body", "bus", True, 96_429, 482.1, 0.21, 0, 0, 0, 300_000, None, "error active", "",
        "listen only: the driver sets it",
    ),
    SourceNow(
        "box", "box", True, 20_000, 100.0, None, 2, 0, 1, 5 * MS, 10 * MS, "polling", "", "reads only",
        (
            Faults(
                "time-out", 2, 'The input box "box" on "/dev/ttyUSB1" does not answer within 40 ms.',
                "Asked for unit 1 at 115200 baud: compare with the box; then its supply.",
            ),
        ),
        bounce=Bounce(14, 6), sees_bounce=False,
    ),
)  # fmt: skip

SOURCE_LOST = dataclasses.replace(
    SOURCES[1], is_up=False, per_second=0.0, state="lost", gaps=2,
    trouble='box: port "/dev/ttyUSB1" is gone.\nPlug the box in again; it is taken up by itself.',
)  # fmt: skip

RECORDER = RecorderNow("drive.duckdb", 116_429, 1_830_000, 48_200_000_000, "")
RECORDER_CLOSING = dataclasses.replace(RECORDER, is_closing=True)
RECORDER_FULL = RecorderNow(
    "drive.duckdb", 116_429, 1_830_000, 190_000_000,
    "Recording stopped: 190 MB free, 200 MB are kept. What was recorded is safe.",
)  # fmt: skip

MARKS: tuple[Mark, ...] = (
    Mark(at(3.4), "trigger", "Auxiliary feed changes"),
    Mark(at(41.0), "edge", "gear: R"),
    Mark(at(41.0), "trigger", "Reverse selected"),
    Mark(at(75.0), "gap", "body: 0.8 s without a frame"),
    Mark(at(97.5), "trigger", "Reverse selected"),
    Mark(at(120.0), "undecided", "Door alert follows a door open on the move"),
    Mark(at(131.2), "trigger", "Siren sounds"),
    Mark(at(142.1), "failed", "Beacons flash in step"),
    Mark(at(150.0), "marker", "customer hears a click"),
    Mark(at(198.2), "trigger", "Reverse selected"),
    Mark(at(199.1), "trigger", "Rear door opens while moving"),
    Mark(at(400.0), "trigger", "Reverse selected"),
    Mark(at(550.0), "failed", "Siren silent in park"),
)

EDGES = {"gear": (25.0, 41.0, 52.0, 97.5, 110.0, 185.0, 198.2), "rear_door": (60.0, 71.0, 199.1)}
"""Signal -> seconds of its edges."""

DOWNS = {"box": DownsNow(1, (Down(at(75.0), at(75.8), "its reader is silent"),))}

LIVE = Snapshot(
    "live", VEHICLE, "live", NOW, START, NOW, SIGNALS, frame_table(), CHECKS, TRIGGERS, SOURCES, RECORDER, downs=DOWNS
)
REPLAY = Snapshot(
    "replay", VEHICLE, "handover.duckdb", NOW, START, END, SIGNALS, frame_table(), CHECKS, TRIGGERS,
    tuple(dataclasses.replace(s, listening="recorded") for s in SOURCES),
    problems=('patrol_van.dbc, line 41: signal "RearRight" runs past the end of its message; it is left out.',),
    downs=DOWNS,
)  # fmt: skip
BENCH_FOLDER = "/vans"
NO_DATABASE = (
    f"{BENCH_FOLDER}/patrol_van.dbc: There is no such database file.\nCheck the name and the folder.\n"
    "Unknown without it: gear, brake, park_brake, turn, key, driver_door, road_temperature."
)
"""In the words of the program."""
TROUBLE = dataclasses.replace(
    LIVE, sources=(SOURCES[0], SOURCE_LOST), recorder=RECORDER_FULL, lost=1204, late=3, problems=(NO_DATABASE,)
)
"""A box pulled out, the disk full, a database missing."""
EMPTY = Snapshot("live", "", "live", START, START, START)
"""Nothing heard yet, nothing in the bench file."""

_GEAR, _REAR_DOOR, _VOLTS = (
    next(s for s in SIGNALS if s.name == name) for name in ("gear", "rear_door", "module_volts")
)

PATHS: dict[str, SignalPath] = {
    "gear": SignalPath(
        _GEAR,
        (
            Stage("Frame", "01 1F 5A 20 43 C1", "body 0E4 TransmissionStatus, every 20 ms, newest 10 ms ago"),
            Stage("Bits", "0001", "start bit 0, 4 bits, lowest byte first"),
            Stage("Raw", "1", "unsigned"),
            Stage("Value", "Reverse", "1 = Reverse → R"),
            Stage("Freshness", "10 ms old", "unknown once older than 60 ms", ON),
        ),
        bytes.fromhex("011F5A2043C1"),
        (3, 2, 1, 0),
        (
            User("check", "Rear white lamp follows reverse", "when gear == 'R': on", ON),
            User("check", "Siren silent in park", "never siren and gear == 'P': obeyed", ON),
            User("trigger", "Reverse selected", "on rises(gear == 'R'): off", OFF),
            User("derived", "secured", "gear == 'P' or (gear == 'N' and park_brake): off", OFF),
        ),
        (
            ClosedBox(
                "gear == 'R'", at(198.2), "rear_white", at(198.496), "Rear white lamp follows reverse", 300 * MS
            ),
        ),
    ),
    "rear_door": SignalPath(
        _REAR_DOOR,
        (
            Stage("Level", "low", "line 0 of box, polled every 10 ms, newest 4 ms ago", OFF),
            Stage("Polarity", "on", 'active = "low": the pin switches to ground', ON),
            Stage(
                "Debounce", "on",
                "bounce not measurable; a burst, gaps < 40 ms, counts once; taken out: 14 glitches", ON,
            ),
            Stage("Freshness", "known", "as long as the box answers", ON),
        ),
        users=(
            User("trigger", "Rear door opens while moving", "on rises(rear_door) and moving: off", OFF),
            User(
                "check", "Door alert follows a door open on the move", "when moving and (side_door or rear_door): on",
                ON,
            ),
        ),
        boxes=(
            ClosedBox("rear_door", at(199.1), "door_alert", at(199.304), "Door alert follows a door open on the move",
                      400 * MS),
        ),
    ),
    "module_volts": SignalPath(
        _VOLTS,
        (
            Stage("Request", "01 42, every 500 ms", "sent by a fitted interface; busprobe listens"),
            Stage("Frames", "body 7E8: 03 41 42 36 4C", "1 transport frame (ISO 15765-2), 4 bytes"),
            Stage("Raw", "13900", "bytes A and B: 36 4C"),
            Stage("Value", "13.9 V", "(256 A + B) / 1000"),
            Stage("Freshness", "known, 400 ms old", "unknown once older than 1.5 s", ON),
        ),
        bytes.fromhex("0341 4236 4C00 0000"),
        (31, 30, 29, 28, 27, 26, 25, 24, 39, 38, 37, 36, 35, 34, 33, 32),
    ),
    "driver_door": SignalPath(
        next(s for s in SIGNALS if s.name == "driver_door"),
        (
            Stage("Frame", "nothing heard yet", "body 1D0 DoorStatus, sent only when a door moves"),
            Stage("Freshness", "unknown (not seen yet)", "holds for 1 h", UNKNOWN),
        ),
    ),
}  # fmt: skip
