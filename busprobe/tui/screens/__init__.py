"""The screens, one key each. A new one is a module and a line here."""

from __future__ import annotations

from typing import NamedTuple

from busprobe.tui.screens.base import BoardScreen
from busprobe.tui.screens.frames import FramesScreen
from busprobe.tui.screens.health import Health
from busprobe.tui.screens.logic import Logic
from busprobe.tui.screens.path import PathScreen
from busprobe.tui.screens.state import StateBoard
from busprobe.tui.screens.walk import WalkScreen


class Entry(NamedTuple):
    """One screen."""

    name: str
    key: str
    words: str
    tooltip: str
    screen: type[BoardScreen]


SCREENS: tuple[Entry, ...] = (
    Entry("state", "1", "State", "Signals, lines and outputs; tiles for gear, speed, brake, doors.", StateBoard),
    Entry("frames", "2", "Frames", "One row an identifier; the bits of the one selected.", FramesScreen),
    Entry("path", "3", "Path", "One signal from the wire to the lamp.", PathScreen),
    Entry("logic", "4", "Logic", "Checks with verdicts and latencies; the trigger log.", Logic),
    Entry("health", "5", "Health", "Sources, load, errors, recording, problems.", Health),
    Entry("walk", "6", "Walk", "Guided walk: confirm each role by an action; wiggle test.", WalkScreen),
)
