"""README.md shows the screens as they are."""

from __future__ import annotations

from pictures import README, VIEWS, pictures, places, with_pictures

from busprobe.tui.screens import SCREENS


def test_readme_shows_every_screen_as_it_is() -> None:
    """`python tests/tui/pictures.py` makes them anew."""
    text = README.read_text(encoding="utf-8")
    assert places(text) == list(VIEWS) == [entry.name for entry in SCREENS]
    assert with_pictures(text, pictures()) == text
