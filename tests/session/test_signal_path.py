"""From the wire to the lamp: what each stage says, for every kind of signal, on the van's first minute."""

from __future__ import annotations

import numpy as np
import pytest
from scripted import BENCH, van_batches

from busprobe.analysis.frame_tally import FrameTally
from busprobe.decode.layout import SignalLayout
from busprobe.engine.engine import Engine
from busprobe.engine.history import Past
from busprobe.frames import FrameBatch, join_frames
from busprobe.results import CheckResult
from busprobe.session.board import Board
from busprobe.session.path_users import condition_word
from busprobe.session.signal_path import bit_numbers
from busprobe.session.snapshot import SignalPath
from busprobe.session.verifying import load_plan
from busprobe.timeline import ASLEEP, FALSE, NEVER, TRUE, UNKNOWN

SECONDS = 60
S = 1_000_000_000


class Seen:
    """A board after the first minute of the van, and what it says at its end."""

    def __init__(self) -> None:
        plan, databases = load_plan(BENCH)
        frames, polls = van_batches(1, SECONDS)
        self.board, self.tally = Board(plan, databases), FrameTally()
        engine = Engine(plan, ["body", "box"], histories=self.board.histories)
        for bus, box in zip(frames, polls, strict=True):
            engine.push("body", bus)
            engine.push("box", box)
            self.tally.add(bus)
            self.board.polls.add(box)
        self.checks: tuple[CheckResult, ...] = engine.finish().checks
        self.frames: FrameBatch = join_frames(frames)
        self.end_ns = int(self.frames.t_ns[-1])

    def path(self, name: str) -> SignalPath:
        found = self.board.path(name, self.end_ns, self.tally, self.checks)
        assert found is not None
        return found


@pytest.fixture(scope="module")
def seen() -> Seen:
    return Seen()


@pytest.mark.parametrize(
    ("name", "titles"),
    [
        ("gear", ["Frame", "Bits", "Raw", "Value", "Freshness", "Signal"]),
        ("rear_door", ["Wire", "Level", "Debounce", "Freshness", "Signal"]),
        ("battery", ["Wire", "Value", "Freshness", "Signal"]),
        ("module_volts", ["Request", "Frames", "Raw", "Value", "Freshness", "Signal"]),
        ("moving", ["Made from", "Signal"]),
    ],
)
def test_stages(seen: Seen, name: str, titles: list[str]) -> None:
    path = seen.path(name)
    assert [stage.title for stage in path.stages] == titles
    assert path.stages[-1].text == path.signal.text


def test_a_bus_signal_is_read_off_its_newest_frame(seen: Seen) -> None:
    path = seen.path("gear")
    gear = {stage.title: stage for stage in path.stages}
    of_message = [m for d in seen.board._databases["body"] for m in d.messages if m.name == "TransmissionStatus"]
    own = seen.frames.take(seen.frames.identifier == of_message[0].identifier)
    payload = own.words()[-1].astype("<u8").tobytes()[: int(own.length[-1])]
    assert path.payload == payload
    assert gear["Frame"].text == payload.hex(" ").upper()
    assert gear["Bits"].text == "".join(str(payload[b // 8] >> b % 8 & 1) for b in path.bits)
    assert gear["Raw"].text == str(int(gear["Bits"].text, 2))
    assert gear["Freshness"].text == f"{(seen.end_ns - int(own.t_ns[-1])) / 1e6:.0f} ms old"


def test_a_line_that_is_switched_to_ground_says_so(seen: Seen) -> None:
    level = next(stage for stage in seen.path("rear_door").stages if stage.title == "Level")
    assert level.detail == "active low: on while low"
    assert (level.text == "low") == (level.code == TRUE)


def test_a_value_with_labels_tells_of_the_table_of_labels(seen: Seen) -> None:
    """The database's word for raw, and the bench file's for that; a number is told by factor and offset."""
    stages = {name: {stage.title: stage for stage in seen.path(name).stages} for name in ("gear", "brake", "speed")}
    gear, brake = stages["gear"], stages["brake"]
    assert gear["Value"].detail == f"{gear['Raw'].text} = {gear['Value'].text} → {gear['Signal'].text}"
    assert gear["Value"].text != gear["Signal"].text
    assert brake["Value"].detail.startswith(f"{brake['Raw'].text} = {brake['Value'].text}")
    assert stages["speed"]["Value"].detail.startswith("raw × ")


def test_an_obd_answer_that_counts_is_not_called_unseen(seen: Seen) -> None:
    path = seen.path("module_volts")
    freshness = next(stage for stage in path.stages if stage.title == "Freshness")
    assert path.signal.code == TRUE
    assert path.signal.age_ns is not None
    assert freshness.text == f"{path.signal.age_ns / 1e6:.0f} ms old"


def test_users_and_the_closed_box_between_two_edges(seen: Seen) -> None:
    path = seen.path("side_door")
    assert ("check", "Work lamp strip follows the side door") in {(u.kind, u.name) for u in path.users}
    box = next(b for b in path.boxes if b.check == "Work lamp strip follows the side door")
    check = next(c for c in seen.checks if c.name == box.check)
    newest = max(check.occurrences, key=lambda o: o.t_ns, default=None)
    assert box.cause_ns == (None if newest is None else newest.t_ns)
    assert box.delay_ns == (None if newest is None else newest.latency_ns)


def test_users_of_a_signal_that_was_never_seen_say_so(seen: Seen) -> None:
    """They are not taken for asleep: nobody knows whether the bus sleeps."""
    first_ns = int(seen.frames.t_ns[0])
    path = seen.board.path("gear", first_ns - 1, seen.tally, seen.checks)
    assert path is not None
    words = {user.text: user.text.rpartition(": ")[2] for user in path.users if user.code == ASLEEP}
    assert words["when gear == 'R': not seen"]
    assert set(words.values()) == {"not seen"}
    assert not any(user.text.endswith(": not seen") for user in seen.path("gear").users)


@pytest.mark.parametrize(
    ("codes", "has_forgotten", "word"),
    [
        pytest.param([ASLEEP], False, "not seen", id="nothing yet"),
        pytest.param([ASLEEP, UNKNOWN, ASLEEP], False, "not seen", id="never known"),
        pytest.param([ASLEEP, TRUE, ASLEEP], False, "asleep", id="known before"),
        pytest.param([ASLEEP], True, "asleep", id="what was before is forgotten"),
        pytest.param([ASLEEP, TRUE, UNKNOWN], False, "unknown", id="unknown"),
        pytest.param([ASLEEP, FALSE], False, "off", id="off"),
    ],
)
def test_what_a_condition_says(codes: list[int], has_forgotten: bool, word: str) -> None:
    t_ns = np.array([0 if has_forgotten else NEVER, *range(1, len(codes))], np.int64)
    past = Past(t_ns, np.array(codes, np.uint8), np.array(codes, np.float64), t_ns)
    assert condition_word(past, len(codes) - 1) == word


def test_a_signal_whose_frame_never_came(seen: Seen) -> None:
    path = seen.board.path("gear", seen.end_ns, FrameTally(), seen.checks)
    assert path is not None
    assert (path.stages[0].title, path.stages[0].text) == ("Frame", "none yet")


def test_a_frame_shorter_than_the_database_says(seen: Seen) -> None:
    tally = FrameTally()
    one = seen.frames.take(np.array([int(np.flatnonzero(seen.frames.length == 8)[0])]))
    identifier = int(one.identifier[0])
    cut = FrameBatch(one.t_ns, one.channels, one.channel, one.identifier, one.flags, np.zeros(1, np.uint8),
                     np.zeros(1, np.uint64))  # fmt: skip
    tally.add(cut)
    detail = seen.board.frame_detail(tally, "body", identifier, False)
    assert detail is not None
    assert detail.payload == b""
    assert {(f.raw, f.text) for f in detail.fields} <= {(None, "-")}
    assert seen.board.frame_detail(tally, "body", 0x7FF, False) is None


def layout(start: int, length: int, *, big_endian: bool) -> SignalLayout:
    return SignalLayout("x", start, length, big_endian, signed=False, is_float=False)


@pytest.mark.parametrize(
    ("start", "length", "big_endian", "bits"),
    [
        pytest.param(0, 4, False, (3, 2, 1, 0), id="low nibble"),
        pytest.param(6, 4, False, (9, 8, 7, 6), id="over a byte, lowest first"),
        pytest.param(7, 8, True, (7, 6, 5, 4, 3, 2, 1, 0), id="first byte, highest first"),
        pytest.param(1, 4, True, (1, 0, 15, 14), id="over a byte, highest first"),
    ],
)
def test_bit_numbers(start: int, length: int, big_endian: bool, bits: tuple[int, ...]) -> None:
    """DBC bit numbers: byte * 8 + bit; a highest-byte-first signal starts at its most significant bit."""
    assert bit_numbers(layout(start, length, big_endian=big_endian)) == bits


@pytest.mark.parametrize(
    ("gaps_s", "told"),
    [
        pytest.param([0.5, 0.2, 8.0] * 8, "sent on change, newest 3 min ago", id="learnt: on change"),
        pytest.param([0.1] * 24, "every 100 ms, newest 3 min ago", id="learnt: in a cycle"),
        pytest.param([2.0] * 3, "so far every 2.0 s, newest 3 min ago", id="too few to tell"),
        pytest.param([], "newest 3 min ago", id="one frame"),
    ],
)
def test_how_a_message_without_a_cycle_time_is_sent(gaps_s: list[float], told: str, seen: Seen) -> None:
    board, tally = Board(*load_plan(BENCH)), FrameTally()
    t_ns = np.cumsum([0, *(round(gap * S) for gap in gaps_s)], dtype=np.int64) + S
    zero = np.zeros(len(t_ns), np.uint8)
    doors = np.full(len(t_ns), 570, np.uint32)
    tally.add(FrameBatch(t_ns, ("body",), zero, doors, zero, zero + 8, zero.astype(np.uint64)))
    path = board.path("driver_door", int(t_ns[-1]) + 227_102_000_000, tally, seen.checks)
    assert path is not None
    stages = {stage.title: stage for stage in path.stages}
    assert stages["Frame"].detail == f"body 23A DoorStatus, {told}"
    assert stages["Freshness"].text == "3 min old"
