"""How identifiers are sent: what the database says, else what their first intervals tell."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from busprobe.analysis.frame_tally import EARLY, FrameTally
from busprobe.analysis.intervals import Sending
from busprobe.decode.freshness import LEARNING
from busprobe.decode.layout import MessageLayout
from busprobe.frames import FrameBatch
from busprobe.session.frame_tables import FrameTables
from busprobe.session.replay_scene import ReplayScene
from busprobe.session.scenes import open_scene
from busprobe.session.sendings import sending_of
from busprobe.timeline import FOREVER

MS = 1_000_000

EVEN = np.arange(LEARNING + 1) * 20 * MS
UNEVEN = np.cumsum([0, *[20 * MS] * (LEARNING - 1), 41 * MS])
RECORDINGS = Path(__file__).parents[2] / "recordings"


@pytest.mark.parametrize(
    ("count", "early", "cycle_ns", "sending"),
    [
        (1, EVEN, None, Sending.SINGLE),
        (LEARNING, EVEN, None, Sending.TOO_FEW),
        (LEARNING + 1, EVEN, None, Sending.CYCLIC),
        (LEARNING + 1, UNEVEN, None, Sending.ON_CHANGE),
        (1, UNEVEN, 100 * MS, Sending.CYCLIC),
        (500, UNEVEN, 100 * MS, Sending.CYCLIC),
    ],
)
def test_sending(count: int, early: np.ndarray, cycle_ns: int | None, sending: Sending) -> None:
    assert sending_of(count, early, cycle_ns) is sending


def test_a_table_tells_each_row_by_its_own_frames_also_of_an_earlier_instant() -> None:
    """Rows of a replay: the newest instant first, then one before enough was heard, then the newest again."""
    tallies = {}
    for frames in (3, 3 * (LEARNING + 2)):
        tally = tallies[frames] = FrameTally()
        t_ns = np.arange(frames) * 10 * MS
        identifier = np.resize(np.array([0x100, 0x200, 0x300], np.uint32), frames)
        zero = np.zeros(frames, np.uint8)
        tally.add(FrameBatch(t_ns, ("body",), zero, identifier, zero, zero + 8, zero.astype(np.uint64)))
    few, many = tallies.values()
    named = MessageLayout("Named", 0x200, False, 8, cycle_time_ns=1_000 * MS)
    tables = FrameTables(lambda channels: {("body", 0x200, False): named})
    cyclic = (Sending.CYCLIC,) * 3
    assert tables.table(many).sending == cyclic
    assert tables.table(few).sending == (Sending.SINGLE, Sending.CYCLIC, Sending.SINGLE)
    assert tables.table(many).sending == cyclic
    assert tables.table(many).message == ("", "Named", "")


def test_so_many_times_are_kept_as_are_learnt_from() -> None:
    assert EARLY == LEARNING + 1


def test_messages_of_the_shipped_recording() -> None:
    """Its door message is sent when a door moves; the database says of the others how often."""
    scene = open_scene(RECORDINGS / "five_faults.duckdb", None)
    assert isinstance(scene, ReplayScene)
    try:
        scene._thread.join(60)
        scene.player.seek(FOREVER)
        table = scene.snapshot().frames
        sending = dict(zip(table.message, table.sending, strict=True))
        assert sending["DoorStatus"] is Sending.TOO_FEW
        assert sending["TransmissionStatus"] is Sending.CYCLIC
    finally:
        scene.close()
