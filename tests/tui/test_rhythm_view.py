"""How an identifier is sent, in words: only what is sent in a cycle can fall silent."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from fake_van import MS, NOW, frame_table

from busprobe.analysis.intervals import Sending
from busprobe.tui.view.rhythm import rhythm
from busprobe.tui.view.spans import Tone, plain

S = 1_000_000_000
CYCLIC, ON_CHANGE, TOO_FEW, SINGLE = Sending

ROWS = [
    # (how it is sent, frames, period ms, seconds since the newest, period, jitter, warned, as a phrase)
    (CYCLIC, 900, 20, 0, "20 ms", "0.15", False, "period 20 ms ± 0.15 ms"),
    (CYCLIC, 900, 20, 1, "20 ms", "0.15", False, "period 20 ms ± 0.15 ms"),
    (CYCLIC, 900, 20, 42, "silent", "42.0 s", True, "silent for 42.0 s"),
    (CYCLIC, 900, 10_000, 42, "10.0 s", "0.15", False, "period 10.0 s ± 0.15 ms"),
    (CYCLIC, 1, 0, 42, "silent", "42.0 s", True, "silent for 42.0 s"),
    (ON_CHANGE, 900, 20, 0, "on change", "<0.1 s", False, "sent on change, newest <0.1 s ago"),
    (ON_CHANGE, 900, 20, 42, "on change", "42.0 s", False, "sent on change, newest 42.0 s ago"),
    (ON_CHANGE, 900, 20, 7200, "on change", "2 h", False, "sent on change, newest 2 h ago"),
    (TOO_FEW, 5, 700, 1, "700 ms", "0.15", False, "period 700 ms ± 0.15 ms"),
    (TOO_FEW, 5, 700, 180, "seldom", "3 min", False, "seldom, newest 3 min ago"),
    (TOO_FEW, 2, 0, 1, "-", "", False, "no period yet"),
    (SINGLE, 1, 0, 0, "once", "", False, "once, <0.1 s ago"),
    (SINGLE, 1, 0, 42, "once", "42.0 s", False, "once, 42.0 s ago"),
]


@pytest.mark.parametrize(("sending", "count", "period_ms", "quiet_s", "period", "jitter", "is_warned", "told"), ROWS)
def test_rhythm(
    sending: Sending, count: int, period_ms: int, quiet_s: int, period: str, jitter: str, is_warned: bool, told: str
) -> None:
    table = dataclasses.replace(
        frame_table(1), sending=(sending,), count=np.array([count]), period_ns=np.array([period_ms * MS]),
        jitter_ns=np.array([150_000]), last_ns=np.array([NOW - quiet_s * S]),
    )  # fmt: skip
    found = rhythm(table, 0, NOW)
    assert (plain(found.period), plain(found.jitter), found.told) == (period, jitter, told)
    assert (Tone.WARN in {span.tone for span in (*found.period, *found.jitter)}) == is_warned
