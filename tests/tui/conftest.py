"""Screens without chance: no colour switch of the environment, no cursor blink, one scene of literal data."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from textual.widgets import Input

sys.path.insert(0, str(Path(__file__).parent))

from fake_scene import FakeScene


@pytest.fixture(autouse=True)
def same_everywhere(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """The same picture on every machine; files go to a folder of the test."""
    for name in ("NO_COLOR", "TEXTUAL_THEME", "TEXTUAL_FPS"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("TEXTUAL_ANIMATIONS", "none")
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.setattr(Input, "cursor_blink", False)


@pytest.fixture
def live() -> FakeScene:
    return FakeScene.live()


@pytest.fixture
def replay() -> FakeScene:
    return FakeScene.replay()
