"""How sources did: told at the end of a live run, and the same by its recording, in words and on Health."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scripted import BENCH, ScriptedSource, play, van_batches
from test_replay_scene import loaded

from busprobe.frames import ERROR, FrameBatch, InputBatch, StateBatch
from busprobe.health import Faults, Health, HealthRow, RequestsNow
from busprobe.recording.read import open_recording
from busprobe.session.attention import attention
from busprobe.session.healths import EVERY_NS, HealthRows, Healths
from busprobe.session.live import LiveRun
from busprobe.session.readers import Opened
from busprobe.session.surveying import survey
from busprobe.session.verifying import load_plan, verify
from busprobe.sources.clock import Clock
from busprobe.timeline import FOREVER

UNREADABLE = Faults("unreadable line", 12, 'The input box "box" on "COM3" printed "1x0".', "Look at its cable.")
SILENT = Faults("time-out", 1, 'The input box "box" on "COM3" does not answer.', "Look at its supply.")
BOX = Health(errors=13, period_ns=10_000_000, faults=(UNREADABLE, SILENT))
BUS = Health(errors=5, lost=7, state="passive", listening="no wire: nothing to acknowledge")
OF_BUS = [
    "body: no wire: nothing to acknowledge",
    "body: the driver says it lost 7 records.",
    "body: the adapter's controller is error passive.",
]
OF_BOX = [
    'Bounce is not measurable on the input box "box": it is read every 10 ms, slower than every 2 ms.',
    'box: 12 unreadable lines, the last: The input box "box" on "COM3" printed "1x0". Look at its cable.',
    'box: 1 time-out: The input box "box" on "COM3" does not answer. Look at its supply.',
]


class Ailing(ScriptedSource):
    """Is well until it has given half of what it has."""

    ailing = Health()

    def health(self) -> Health:
        return self.ailing if self.at > len(self._batches) // 2 else Health()


def ailing(name: str, batches: list[FrameBatch] | list[InputBatch], health: Health) -> Ailing:
    source = Ailing(name, batches)
    source.ailing = health
    return source


def with_errors(batches: list[FrameBatch], count: int) -> list[FrameBatch]:
    flags = batches[0].flags.copy()
    flags[:count] |= np.uint8(ERROR)
    return [replace(batches[0], flags=flags), *batches[1:]]


def test_the_report_the_replay_and_its_health_say_the_same(tmp_path: Path) -> None:
    frames, polls = van_batches(3, 20)
    path = tmp_path / "ailing.duckdb"
    outcome = play([ailing("body", with_errors(frames, 5), BUS), ailing("box", polls, BOX)], path)
    live = [note for note in outcome.notes() if "down" not in note and "tester" not in note]
    errors = [note for note in live if note.startswith("body: 5 errors (error frames, unreadable pieces) among")]
    assert len(errors) == 1
    assert [note for note in live if note in (*OF_BUS, *OF_BOX)] == [*OF_BUS, *OF_BOX]
    for replayed in (verify(path, BENCH), survey(path, BENCH), survey(path)):
        assert [note for note in replayed.notes if note in live] == live
    with loaded(path) as scene:
        scene.player.seek(FOREVER)
        picture = scene.snapshot()
        bus, box = picture.sources
        told = [one.what for one in attention(picture) if one.where == "box"]
    assert (bus.errors, bus.lost, bus.state, bus.listening) == (5, 7, "passive", BUS.listening)
    assert (box.errors, box.lost, box.faults, box.sees_bounce) == (13, 0, BOX.faults, False)
    assert [text for text in told if text.startswith(("12 unreadable lines, the last:", "1 time-out:"))] == told[-2:]


def test_a_run_in_which_all_was_well_says_nothing_of_faults(tmp_path: Path) -> None:
    frames, polls = van_batches(3, 20)
    path = tmp_path / "well.duckdb"
    outcome = play([ScriptedSource("body", frames), ScriptedSource("box", polls)], path)
    for notes in (outcome.notes(), verify(path, BENCH).notes):
        assert [note for note in notes if note.startswith(("body: ", "box: "))] == []


def test_a_recording_begun_in_mid_run_tells_of_its_own_time(tmp_path: Path) -> None:
    source = ScriptedSource("box", van_batches(3, 1)[1])
    run = LiveRun(load_plan(BENCH)[0], [source], Clock())
    now = [Health(errors=2, lost=1, faults=(replace(SILENT, count=2),))]
    source.health = lambda: now[0]  # type: ignore[method-assign]
    run._handle(Opened("box"))
    run.begin(None, None, run.clock.now_ns())
    now[0] = Health(errors=5, lost=1, faults=(replace(SILENT, count=2), replace(UNREADABLE, count=3)))
    (row,) = run.healths.due(1, is_end=True)
    assert (row.health.errors, row.health.lost, row.health.faults) == (3, 0, (replace(UNREADABLE, count=3),))


def test_a_recording_of_before_it_was_kept_can_be_read(tmp_path: Path) -> None:
    """Without a row it is not known what was lost."""
    path = tmp_path / "old.duckdb"
    play([ScriptedSource("body", van_batches(3, 5)[0])], path)
    import duckdb

    with duckdb.connect(str(path)) as con:
        con.execute("DELETE FROM states WHERE condition = 'health'")
    with open_recording(path) as kept:
        assert [b.healths for b in kept.batches() if isinstance(b, StateBatch) and b.healths] == []
    with loaded(path) as scene:
        scene.player.seek(FOREVER)
        bus = scene.snapshot().sources[0]
    assert (bus.name, bus.lost, bus.errors) == ("body", None, 0)


class TestRows:
    """Every second at most, and only news; at the end all there is."""

    @pytest.fixture
    def run(self) -> LiveRun:
        return LiveRun(load_plan(BENCH)[0], [Ailing("box", van_batches(3, 1)[1])], Clock())

    def test_of_a_live_run(self, run: LiveRun) -> None:
        rows, source = HealthRows(run.status), run.sources[0]
        assert isinstance(source, Ailing)
        source.at = 1
        seen = []
        for t_ns, health, is_end in (
            (0, Health(), False),
            (1, Health(errors=1), False),
            (EVERY_NS, Health(errors=1), False),
            (2 * EVERY_NS, Health(errors=1), False),
            (3 * EVERY_NS, Health(errors=1, period_ns=5), False),
            (4 * EVERY_NS, Health(errors=1, period_ns=6), False),
            (4 * EVERY_NS + 1, Health(errors=2, period_ns=6), True),
            (4 * EVERY_NS + 2, Health(7, errors=2, period_ns=6), True),
            (4 * EVERY_NS + 3, Health(errors=2, period_ns=7), True),
        ):
            source.ailing = health
            seen += [(row.t_ns, row.health) for row in rows.due(t_ns, is_end=is_end)]
        assert seen == [
            (0, Health()),
            (EVERY_NS, Health(errors=1)),
            (3 * EVERY_NS, Health(errors=1, period_ns=5)),
            (4 * EVERY_NS + 1, Health(errors=2, period_ns=6)),
            (4 * EVERY_NS + 3, Health(errors=2, period_ns=7)),
        ]

    def test_of_a_recording(self) -> None:
        healths = Healths()
        healths.add([HealthRow(10, "box", Health(errors=1)), HealthRow(20, "box", Health(errors=2))])
        found = [healths.at("box", t_ns) for t_ns in (9, 10, 19, 20)]
        assert found == [None, Health(errors=1), Health(errors=1), Health(errors=2)]
        assert healths.at("body", 20) is None
        assert healths.last() == {"box": Health(errors=2)}


class Kept:
    """A recorder that remembers the requests that it was given."""

    def __init__(self) -> None:
        self.rows: list[tuple[int, int]] = []
        """Time, and how many had been sent."""

    def put(self, batch: StateBatch) -> None:
        self.rows += [(row.t_ns, row.requests.sent) for row in batch.requests]


def test_at_its_start_a_recording_says_that_nothing_was_sent_since() -> None:
    """However long it takes until the first look: what was sent meanwhile is of a later row."""
    sent, kept = [5], Kept()
    rows = HealthRows({}, lambda: [RequestsNow("body", sent=sent[0])])
    sent[0] = 7
    for t_ns in (100, 200, 100 + EVERY_NS):
        rows.tell(kept, t_ns)  # type: ignore[arg-type]
    assert kept.rows == [(100, 0), (100 + EVERY_NS, 2)]


def test_a_recording_that_ends_at_once_says_what_was_sent() -> None:
    sent, kept = [5], Kept()
    rows = HealthRows({}, lambda: [RequestsNow("body", sent=sent[0])])
    sent[0] = 7
    rows.tell(kept, 100, is_end=True)  # type: ignore[arg-type]
    assert kept.rows == [(100, 2)]
