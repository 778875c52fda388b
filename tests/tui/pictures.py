"""The screens of a shipped recording as text, and README.md with them.

    python tests/tui/pictures.py

writes the pictures anew between the marks in README.md:

    <!-- picture: state -->
    ```text
    ...
    ```
"""

from __future__ import annotations

import asyncio
import os
import re
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import NamedTuple

from textual.pilot import Pilot

from busprobe.session.scenes import open_scene
from busprobe.tui.app import BusprobeApp

ROOT = Path(__file__).parents[2]
README = ROOT / "README.md"
RECORDING = ROOT / "recordings" / "five_faults.duckdb"
PATIENCE_S = 60.0
_PLACE = re.compile(r"(<!-- picture: (\w+) -->\n```text\n).*?(```\n)", re.DOTALL)


class View(NamedTuple):
    """One screen at one instant."""

    at_s: float
    """Since the start of the recording."""
    keys: tuple[str, ...]
    size: tuple[int, int] = (80, 24)


VIEWS: Mapping[str, View] = {
    "state": View(236.2, ("1",), (100, 30)),
    "frames": View(236.2, ("2", "s", "s", "s", "down")),
    "path": View(141.9, ("3",), (100, 34)),
    "logic": View(600.0, ("4",), (100, 26)),
    "health": View(400.0, ("5",), (100, 20)),
    "walk": View(400.0, ("6", "s"), (100, 22)),
}


def pictures() -> dict[str, str]:
    """Every view as text, blanks at the ends of lines left out."""
    return asyncio.run(_pictures())


async def _pictures() -> dict[str, str]:
    return {name: await _picture(view) for name, view in VIEWS.items()}


async def _picture(view: View) -> str:
    scene = open_scene(RECORDING)
    try:
        app = BusprobeApp(scene)
        async with app.run_test(size=view.size) as pilot:
            async with asyncio.timeout(PATIENCE_S):
                while scene.snapshot().loaded < 1.0:
                    await pilot.pause(0.01)
            assert scene.player is not None
            scene.player.seek(scene.snapshot().start_ns + round(view.at_s * 1e9))
            app.pull_now()
            await pilot.press(*view.keys)
            app.pull_now()
            return await _settled(app, pilot)
    finally:
        scene.close()


async def _settled(app: BusprobeApp, pilot: Pilot[None]) -> str:
    """The text of the screen once nothing moves any more."""
    texts = ["", "-"]
    async with asyncio.timeout(PATIENCE_S):
        while len(set(texts[-3:])) > 1:
            await pilot.pause(0.05)
            texts.append(_text(app))
    return texts[-1]


def _text(app: BusprobeApp) -> str:
    strips = app.screen._compositor.render_strips()
    return "".join(f"{strip.text.rstrip()}\n" for strip in strips)


def with_pictures(readme: str, made: Mapping[str, str]) -> str:
    """The text of README.md with these pictures in their places."""
    return _PLACE.sub(lambda found: found[1] + made[found[2]] + found[3], readme)


def places(readme: str) -> list[str]:
    """Names of the pictures that README.md has places for."""
    return [found[2] for found in _PLACE.finditer(readme)]


if __name__ == "__main__":
    for variable in ("NO_COLOR", "TEXTUAL_THEME"):
        os.environ.pop(variable, None)
    README.write_text(with_pictures(README.read_text(encoding="utf-8"), pictures()), encoding="utf-8", newline="\n")
    sys.exit(0)
