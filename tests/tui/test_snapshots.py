"""Pictures of the state board, health, start page and questions, compared cell by cell."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import fake_van
import pytest
from fake_scene import FakeScene

from busprobe.tui.app import BusprobeApp
from busprobe.tui.recent import Opened, remember
from busprobe.tui.view.start import Adapter

Compare = Callable[..., bool]
SMALL, LARGE = (80, 24), (120, 40)
SIZES = pytest.mark.parametrize("size", [SMALL, LARGE], ids=["80x24", "120x40"])


@SIZES
def test_state_board(snap_compare: Compare, live: FakeScene, size: tuple[int, int]) -> None:
    """Tiles of gear, speed, brake and doors; every signal; one failed check and the newest trigger in the header."""
    assert snap_compare(BusprobeApp(live), terminal_size=size)


def test_state_board_before_anything_is_heard(snap_compare: Compare) -> None:
    """Nothing in the bench file, nothing heard: words, not emptiness."""
    assert snap_compare(BusprobeApp(FakeScene.live(fake_van.EMPTY)), terminal_size=SMALL)


def test_state_board_on_a_very_small_terminal(snap_compare: Compare, live: FakeScene) -> None:
    """Tiles in words, the list below, the footer in signs."""
    assert snap_compare(BusprobeApp(live), terminal_size=(40, 10))


def test_tiles_zoomed_in_the_light_theme(snap_compare: Compare, live: FakeScene) -> None:
    """The tiles alone, as large as they go."""
    app = BusprobeApp(live, theme="busprobe-light")
    assert snap_compare(app, terminal_size=LARGE, press=["f2", "z"])


def test_filter_of_signals_in_high_contrast(snap_compare: Compare, live: FakeScene) -> None:
    """Only the doors, the words typed below the list."""
    app = BusprobeApp(live, theme="busprobe-contrast")
    assert snap_compare(app, terminal_size=SMALL, press=["f", *"door"])


@SIZES
def test_health_in_trouble(snap_compare: Compare, size: tuple[int, int]) -> None:
    """The box is out, the disk is full, a database is missing: each says what to do."""
    app = BusprobeApp(FakeScene.live(fake_van.TROUBLE))
    assert snap_compare(app, terminal_size=size, press=["5"])


def test_help(snap_compare: Compare, live: FakeScene) -> None:
    """The keys that work on the state board."""
    assert snap_compare(BusprobeApp(live), terminal_size=SMALL, press=["question_mark"])


def test_leaving_while_recording(snap_compare: Compare, live: FakeScene) -> None:
    """One question."""
    assert snap_compare(BusprobeApp(live), terminal_size=SMALL, press=["q"])


@SIZES
def test_start_page(snap_compare: Compare, size: tuple[int, int]) -> None:
    """What was open lately, the demo, another file, adapters."""
    vans = Path("/vans/winter")
    remember(Opened(None, vans / "van12.toml"))
    remember(Opened(vans / "drive.log", vans / "van12.toml"))
    remember(Opened(vans / "handover.duckdb", None))
    found = [Adapter("can0", "CAN link of this machine"), Adapter("/dev/ttyUSB0", "serial port", "no permission.")]
    app = BusprobeApp(None, opener=lambda opened: FakeScene.live(), find=lambda: found)
    assert snap_compare(app, terminal_size=size, run_before=lambda pilot: app.workers.wait_for_complete())
