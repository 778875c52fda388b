"""What wants attention, as the real scenes tell it: gaps, errors, losses, load, space, silence."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest
from scripted import BENCH, ScriptedSource
from test_live_scene import now_batches, until
from test_replay_scene import RECORDINGS, loaded

from busprobe.analysis.frame_tally import FrameTally
from busprobe.engine.history import Bounce
from busprobe.engine.why import NOT_AGAIN
from busprobe.frames import ERROR, Condition, FrameBatch, InputBatch, SourceState, StateBatch, empty_frames
from busprobe.health import Faults, Health, RequestsNow
from busprobe.recording.write import RecordingWriter
from busprobe.report.advice import NOTHING_HEARD
from busprobe.report.quantities import moment, times
from busprobe.session.attention import Wanted, attention
from busprobe.session.board import Board
from busprobe.session.downs import Down, Downs, DownsNow
from busprobe.session.live_scene import LiveScene
from busprobe.session.snapshot import RecorderNow, Snapshot, SourceNow
from busprobe.session.verifying import load_plan
from busprobe.sources.clock import Clock
from busprobe.timeline import FOREVER, UNKNOWN

S = 1_000_000_000
T0 = 1_768_000_000 * S


class Ailing(ScriptedSource):
    """Gives a health of its own, and is complete to now after its last batch."""

    ailing = Health()

    def read(self) -> FrameBatch | InputBatch:
        batch = super().read()
        return empty_frames(("body",), Clock().now_ns()) if self.done.is_set() else batch

    def health(self) -> Health:
        return self.ailing


@contextmanager
def listening(*sources: ScriptedSource) -> Iterator[LiveScene]:
    scene = LiveScene(*load_plan(BENCH), sources)
    try:
        yield scene
    finally:
        scene.close()


def told(picture: Snapshot, where: str) -> list[str]:
    return [one.what for one in attention(picture) if one.where == where]


def error_frames(count: int, t_ns: int) -> FrameBatch:
    t = t_ns + np.arange(count, dtype=np.int64) * 1000
    zero = np.zeros(count, np.uint8)
    return FrameBatch(
        t, ("body",), zero, zero.astype(np.uint32), np.full(count, ERROR, np.uint8), zero, zero.astype(np.uint64),
        complete_to_ns=int(t[-1]),
    )  # fmt: skip


def downs(scene: LiveScene) -> tuple[Down, ...]:
    return scene.snapshot().downs.get("body", DownsNow()).newest


def test_an_adapter_pulled_out_and_back_is_told_with_when_how_long_and_why() -> None:
    begin = Clock().now_ns() + 2 * S  # after the run's start, however busy the machine
    batches = [empty_frames(("body",), begin + k) for k in range(9)]
    with listening(Ailing("body", batches, trouble=5)) as scene:
        until(lambda: [down.end_ns is None for down in downs(scene)] == [False])
        until(lambda: bool(scene.snapshot().sources))
        # Others may tell of its signals, until they come again.
        (text,) = [one for one in told(scene.snapshot(), "body") if one.startswith("Was down")]
    number = r"\d+(\.\d+)?"
    pattern = (
        rf"from {number} s to {number} s \({number} (ms|s); body was pulled out\); its signals are unknown there\. "
        r"Look at the adapter's plug and cable\."
    )
    assert re.fullmatch("Was down " + pattern, text), text


def test_a_bus_with_nothing_but_error_frames_is_told_and_what_to_try() -> None:
    body = Ailing("body", [error_frames(300, Clock().now_ns())])
    body.ailing = Health(state="passive", lost=4)
    with listening(body) as scene:
        until(lambda: len(told(scene.snapshot(), "body")) >= 3)
        first, *more = told(scene.snapshot(), "body")
    lines = first.splitlines()
    assert lines[0].startswith("300 error frames and not one good frame: a wrong bit rate, or a wire that is off.")
    # 120 ohms at each end: ISO 11898-2.
    assert "60 Ω" in lines[1]
    # More than 127 errors: ISO 11898-1, error passive.
    assert any("127" in one for one in more)
    assert "The driver says it lost 4 records." in more


def test_a_silent_bus_is_told_after_its_time_and_not_before() -> None:
    now = Clock().now_ns()
    with listening(Ailing("body", [empty_frames(("body",), now)])) as scene:
        until(lambda: bool(scene.snapshot().sources))
        picture = scene.snapshot()
    assert told(picture, "body") == []
    later = dataclasses.replace(picture, t_ns=picture.start_ns + 10 * S)
    (text,) = told(later, "body")
    assert text.splitlines()[0] == "No frame was heard in 10 s. What to try, in this order:"
    assert all(step in text for step in NOTHING_HEARD)
    assert told(dataclasses.replace(picture, t_ns=picture.start_ns + 10 * S - 1), "body") == []


def test_own_requests_are_no_sign_of_life() -> None:
    """A bus on which busprobe asks and nobody else says anything is silent all the same."""
    t_ns = Clock().now_ns()
    zero = np.zeros(3, np.uint8)
    for number, is_heard in ((0x7DF, False), (0x7E0, False), (0x7E8, True), (0x0E4, True)):
        tally = FrameTally()
        identifiers = np.full(3, number, np.uint32)
        tally.add(FrameBatch(np.arange(3) + t_ns, ("body",), zero, identifiers, zero, zero + 8, zero.astype(np.uint64)))
        picture = dataclasses.replace(
            EMPTY, frames=Board(*load_plan(BENCH)).frame_table(tally), requests=(RequestsNow("body", sent=3),)
        )
        assert any("No frame was heard" in one for one in told(picture, "body")) != is_heard
        alone = dataclasses.replace(picture, requests=())
        assert not any("No frame was heard" in one for one in told(alone, "body")), "another tester's are"


EMPTY = Snapshot(
    "live", "Van", "live", T0 + 20 * S, T0, T0 + 20 * S,
    sources=(SourceNow("body", "bus", True, 3, 0.0, None, 0, None, 0, 0, None, "", "", ""),),
)  # fmt: skip


def test_in_a_replay_a_gap_is_told_up_to_the_instant_with_the_note_that_was_recorded(tmp_path: Path) -> None:
    path = tmp_path / "gap.duckdb"
    frames, polls = now_batches(1)
    start = int(polls[0].t_ns[0])
    texts = {p.name: p.read_text(encoding="utf-8") for p in (BENCH, BENCH.with_suffix(".dbc"))}
    about = {"uncertainty_ns body": "0", "uncertainty_ns box": "0", "uncertainty_ns chassis": "0"}
    states = (
        SourceState(start + 3 * S, "box", Condition.DOWN, "its reader is silent"),
        SourceState(start + 5 * S, "box", Condition.UP),
    )
    with RecordingWriter(path, about={"vehicle": "Van", "start_ns": str(start), **about}, bench=texts) as writer:
        writer.add(StateBatch(states))
        for batches in zip(frames[:20], polls[:20], strict=True):
            for batch in batches:
                writer.add(batch)
    with loaded(path) as scene:
        scene.player.seek(start + 2 * S)
        assert told(scene.snapshot(), "box") == []
        scene.player.seek(start + 4 * S)
        picture = scene.snapshot()
        assert [s.trouble for s in picture.sources] == ["", "its reader is silent"]
        assert told(picture, "box") == [
            (
                "Was down from 3.000 s to now (its reader is silent); its signals are unknown there. "
                "Look at the box's supply, plug and cable."
            )
        ]
        assert [one.is_bad for one in attention(picture) if one.where == "box"] == [True]
        scene.player.seek(FOREVER)
        picture = scene.snapshot()
        assert [s.trouble for s in picture.sources] == ["", ""]
        assert told(picture, "box") == [
            (
                "Was down from 3.000 s to 5.000 s (2 s; its reader is silent); its signals are unknown there. "
                "Look at the box's supply, plug and cable."
            )
        ]
        assert "Nothing came from chassis; its signals are unknown." in told(picture, "note")
        assert [m.text for m in scene.player.marks if m.kind == "gap"] == ["box down: its reader is silent"]


BUS = SourceNow("body", "bus", True, 9, 1.0, 0.2, 0, 0, 0, 0, None, "active", "", "")
BOX = dataclasses.replace(BUS, name="box", kind="box", load=None, state="")
PICTURE = Snapshot("live", "", "live", T0 + S, T0, T0 + S)


@pytest.mark.parametrize(
    ("source", "text", "is_bad"),
    [
        (dataclasses.replace(BUS, load=0.7), "70% of the bus is in use", False),
        (dataclasses.replace(BUS, load=0.699), "", False),
        (dataclasses.replace(BUS, state="off"), "Bus off", True),
        (dataclasses.replace(BUS, state="passive"), "Error passive", False),
        (dataclasses.replace(BUS, errors=1), "1 error frame and not one good frame: a wrong bit rate", True),
        (dataclasses.replace(BUS, lost=1), "The driver says it lost 1 record.", False),
        (
            dataclasses.replace(BUS, gaps=2),
            "Was down 2 times before the time shown begins. Look at the adapter's plug and cable.",
            False,
        ),
        (dataclasses.replace(BUS, trouble="Gone.\nPlug it in."), "Gone.\nPlug it in.", True),
        (
            dataclasses.replace(BOX, errors=3, faults=(Faults("time-out", 3, "It is silent.", "Look at it."),)),
            "3 time-outs, the last: It is silent. Look at it.",
            False,
        ),
        (BOX, "", False),
        (BUS, "", False),
    ],
)
def test_of_a_source(source: SourceNow, text: str, is_bad: bool) -> None:
    found = attention(dataclasses.replace(PICTURE, sources=(source,)))
    assert [one.where for one in found] == ([source.name] if text else [])
    assert all(one.what.startswith(text) and one.is_bad is is_bad for one in found)


def test_of_the_run() -> None:
    recorder = RecorderNow("drive.duckdb", 1, 1, 999_000_000, "")
    found = attention(dataclasses.replace(PICTURE, lost=12, late=1, recorder=recorder))
    assert [(one.where, one.what) for one in found] == [
        (
            "busprobe",
            "12 records lost: they came faster than they could be taken in; they are in the recording, flagged late.",
        ),
        ("recording", "Only 999.0 MB free: make room, recording stops by itself at about 200 MB."),
        (
            "busprobe",
            "1 record came too late to count; they are recorded. Close other programs that keep the machine busy.",
        ),
    ]


def test_of_many_gaps_the_newest_are_told() -> None:
    states = [SourceState(T0 + k * S, "body", Condition.DOWN if k % 2 else Condition.UP) for k in range(1, 11)]
    kept = Downs()
    kept.add(states)
    picture = dataclasses.replace(PICTURE, sources=(BUS,), downs=kept.at(FOREVER))
    assert told(picture, "body") == [
        (
            "Was down 5 times, the last 3: from 5.000 s to 6.000 s (1 s), from 7.000 s to 8.000 s (1 s), "
            "from 9.000 s to 10.000 s (1 s); its signals are unknown there. Look at the adapter's plug and cable."
        )
    ]


def test_a_line_that_chatters_is_told_of_while_it_does_and_after() -> None:
    """The shipped drive with faults has a door switch that chatters."""
    with loaded(RECORDINGS / "five_faults.duckdb") as scene:
        start_ns = scene.snapshot().start_ns
        past = scene._board.histories["rear_door"].past
        (first, *_) = np.flatnonzero((past.code == UNKNOWN) & (past.t_ns >= start_ns)).tolist()
        begin_ns, end_ns = past.t_ns[first : first + 2].tolist()
        found = []
        for t_ns in (begin_ns - 1, begin_ns, end_ns - 1, FOREVER):
            scene.player.seek(t_ns)
            found.append([one for one in attention(scene.snapshot()) if one.where == "rear_door"])
        door = scene.snapshot().signal("rear_door")
    assert door is not None
    advice = "Look at its contact, plug and wire; the wiggle test (w on screen 6) watches it."
    now = Wanted("rear_door", f"Chatters now, since {moment(begin_ns, start_ns)}. {advice}", True)
    after = Wanted("rear_door", f"Chattered {times(door.bounce.chatters)}. {advice}")
    assert found == [[], [now], [now], [after]]


def test_of_a_line_that_chatters_again() -> None:
    lines = Bounce(chatters=2, is_chattering=True)
    with listening() as scene:
        picture = scene.snapshot()
    signal = dataclasses.replace(picture.signals[0], name="rear_door", since_ns=picture.start_ns + 3 * S, bounce=lines)
    (text,) = told(dataclasses.replace(picture, signals=(signal,)), "rear_door")
    assert text.startswith("Chatters now, since 3.000 s; chattered 2 times before. Look at its contact")


def test_after_an_adapter_has_come_back_what_stays_away_gets_the_advice_that_fits() -> None:
    with listening() as scene:
        picture = scene.snapshot()
    any_signal = dataclasses.replace(
        picture.signals[0], code=UNKNOWN, why=NOT_AGAIN, since_ns=picture.start_ns + 3 * S, age_ns=S
    )
    signals = [
        dataclasses.replace(any_signal, name=name, role=role, source=source, max_age_ns=max_age_ns)
        for name, role, source, max_age_ns in (
            ("gear", "gear", "body.TransmissionStatus.Gear", S),
            ("driver_door", "door", "body.DoorStatus.DriverDoor", None),
            ("volts", None, "obd.42", S),
        )
    ]
    texts = [one.what for one in attention(dataclasses.replace(picture, signals=tuple(signals)))]
    back = "unknown since 3.000 s, because its adapter is back, but"
    sender = "Look at the unit that sends it: its supply and fuse, its plug, its wires to the bus."
    assert texts[:3] == [
        f'gear: {back} "TransmissionStatus" has not come since. {sender}',
        (
            f'driver_door: {back} "DoorStatus" has not come since. It may be sent on change only: '
            f"operate it (the door). Where that does not help: {sender}"
        ),
        (
            f"volts: {back} no answer to PID 42 has come since. "
            "Nobody asks any more, or the unit does not answer: look at the tester, then at the unit's supply."
        ),
    ]
