"""What a live run says of buses that gave errors, or nothing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scripted import BENCH, ScriptedSource, play, van_batches

from busprobe.errors import DeviceError
from busprobe.frames import ERROR, SENT, FrameBatch
from busprobe.health import Health
from busprobe.session.live import LiveRun
from busprobe.session.readers import Gone, Opened
from busprobe.session.verifying import load_plan
from busprobe.sources.clock import Clock

SILENCE = "No frame was heard."
TRY = "What to try, in this order:"


def flagged(batches: list[FrameBatch], flag: int, every: int = 1) -> list[FrameBatch]:
    """The batches with this flag on every so many frames."""
    out = []
    for batch in batches:
        flags = batch.flags.copy()
        flags[::every] |= flag
        out.append(replace(batch, flags=flags))
    return out


@pytest.mark.parametrize(
    ("flag", "every", "note"),
    [
        (
            ERROR,
            1,
            "error frames and not one good frame: a wrong bit rate, or a wire that is off. busprobe listen-rate",
        ),
        (ERROR, 100, "errors (error frames, unreadable pieces) among"),
    ],
)
def test_error_frames_are_told(flag: int, every: int, note: str) -> None:
    """... and are no silence: what to try then does not help."""
    frames, polls = van_batches(3, 20)
    outcome = play([ScriptedSource("body", flagged(frames, flag, every)), ScriptedSource("box", polls)])
    notes = outcome.notes()
    assert len([n for n in notes if n.startswith("body: ") and note in n]) == 1
    assert SILENCE not in notes
    assert TRY not in notes


def test_silence_is_told() -> None:
    frames, polls = van_batches(3, 20)
    silent = [batch.cut(0, 0) for batch in frames]
    outcome = play([ScriptedSource("body", silent), ScriptedSource("box", polls)])
    notes = outcome.notes()
    assert notes[notes.index(SILENCE) + 1] == TRY


def test_a_good_run_says_nothing_of_errors() -> None:
    frames, polls = van_batches(3, 20)
    notes = play([ScriptedSource("body", frames), ScriptedSource("box", polls)]).notes()
    assert [n for n in notes if "error" in n or n == SILENCE] == []


def test_own_requests_are_no_life_of_the_bus() -> None:
    frames, polls = van_batches(3, 20)
    outcome = play([ScriptedSource("body", flagged(frames, SENT)), ScriptedSource("box", polls)])
    assert outcome.run.status["body"].good == 0
    assert outcome.run.status["box"].good == sum(map(len, polls))


class _Told(ScriptedSource):
    """Says what it is told to say of its health."""

    now = Health()

    def health(self) -> Health:
        return self.now


def test_errors_and_losses_are_those_of_all_connections() -> None:
    source = _Told("body", [])
    run = LiveRun(load_plan(BENCH)[0], [source], Clock())
    status, seen = run.status["body"], []
    for event, health in (
        (Opened("body"), Health(errors=3, lost=1)),
        (Gone("body", str(DeviceError("unplugged")), Health(errors=4, lost=1)), Health(errors=4, lost=1)),
        (Gone("body", "not plugged in"), Health(errors=4, lost=1)),
        (Opened("body"), Health()),
        (None, Health(errors=2, lost=5)),
        # The reader has opened it anew before the run gets to know that it was gone.
        (Gone("body", "unplugged", Health(errors=2, lost=5)), Health()),
        (Opened("body"), Health(errors=1)),
    ):
        if event is None or isinstance(event, Opened):
            source.now = health
        if event is not None:
            source.now = health
            run._handle(event)
        seen.append((status.health.errors, status.health.lost))
    assert seen == [(3, 1), (4, 1), (4, 1), (4, 1), (6, 6), (6, 6), (7, 6)]
    assert np.all(np.diff(np.array(seen), axis=0) >= 0)
