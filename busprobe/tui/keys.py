"""Every key of the dashboard, in one list: footer, help, command palette and README come from it.

Letters, digits, function keys, arrows, Enter, Escape and Space only: they reach a program in
any terminal. F1 to F9 never stand alone, because some terminals keep them.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from textual.binding import Binding, BindingType

FOOTER_KEYS = 6
"""Most keys that the footer shows beside the screens."""


@dataclass(frozen=True)
class Key:
    """One key, or several for one action."""

    id: str
    keys: str
    """Textual's names, with commas between: "question_mark,f1"."""
    action: str
    words: str
    """Two words or so: footer, palette."""
    tooltip: str
    """A sentence: help, palette."""
    where: str = "everywhere"
    """"everywhere", "board" (every screen), "rows" (in a list), "replay", "demo", or a screen's name."""
    footer: bool = False
    at_once: bool = False
    """Done before the next key is given to anybody: keys may come in one burst over a slow link."""


KEYS: tuple[Key, ...] = (
    Key("help", "question_mark,f1", "help", "Help", "Show all keys that work here.", footer=True),
    Key("commands", "c", "command_palette", "Commands", "Find any action, screen or signal by name.", footer=True),
    Key("leave", "q,ctrl+c", "leave", "Quit", "Leave busprobe; asks first while a recording goes on.", footer=True),
    Key("copy", "y", "copy", "Copy", "Copy the selected row as text.", "board", footer=True),
    Key("zoom", "z", "zoom", "Zoom", "Give the whole screen to the panel in focus, and back.", "board", footer=True),
    Key("filter", "f", "filter", "Filter", "Show only rows with these words; Escape shows all again.", "board"),
    Key("hold", "h", "hold", "Hold picture", "Freeze what is shown; counting and recording go on.", footer=True),
    Key("record", "r", "record", "Record", "Start or stop a recording (live only)."),
    Key("write", "e", "write", "Write to file", "Write the selected row to a text file.", "board"),
    Key(
        "signal",
        "i",
        "pick_signal",
        "Signal for edges",
        "Choose the signal whose edges count, for ← → and the wiggle test.",
        "board",
    ),
    Key("theme", "t", "theme", "Next theme", "Dark, light, high contrast."),
    Key("start", "o", "start", "Open other", "Go to the start page to open something else."),
    Key("van", "7", "van", "Van", "Set faults of the simulated van, and take them back (demo only).", "demo"),
    Key("back", "escape", "back", "Back", "End the filter, or the zoom.", "board"),
    Key("panel", "tab", "app.focus_next", "Next panel", "Move to the next panel.", "board", at_once=True),
    Key(
        "panel.back",
        "shift+tab",
        "app.focus_previous",
        "Last panel",
        "Move to the panel before.",
        "board",
        at_once=True,
    ),
    Key("panel.2", "f2", "panel(0)", "First panel", "Move to the panel titled F2.", "board", at_once=True),
    Key("panel.3", "f3", "panel(1)", "Second panel", "Move to the panel titled F3.", "board", at_once=True),
    Key("panel.4", "f4", "panel(2)", "Third panel", "Move to the panel titled F4.", "board", at_once=True),
    Key("rows.up", "up", "cursor(-1)", "Up", "One row up.", "rows"),
    Key("rows.down", "down", "cursor(1)", "Down", "One row down.", "rows"),
    Key("rows.page_up", "pageup", "page(-1)", "Page up", "One page up.", "rows"),
    Key("rows.page_down", "pagedown", "page(1)", "Page down", "One page down.", "rows"),
    Key("rows.first", "home", "edge(0)", "First row", "To the first row.", "rows"),
    Key("rows.last", "end", "edge(1)", "Last row", "To the last row.", "rows"),
    Key("rows.choose", "enter", "choose", "Choose", "Choose this row.", "rows"),
    # Start page
    Key("start.back", "escape", "app.go('state')", "Back", "Back to what is open.", "start"),
    # State board
    Key("state.sort", "s", "sort", "Sort", "Order of the bench file, by newest change, by edges, by name.", "state"),
    Key("sheet.page_up", "pageup", "page(-1)", "Page up", "One page up.", "sheet"),
    Key("sheet.page_down", "pagedown", "page(1)", "Page down", "One page down.", "sheet"),
    # Frames
    Key("frames.sort", "s", "sort", "Sort", "By first heard, identifier, count, period, share, change.", "frames"),
    Key("frames.bits", "b", "bits", "Bits or bytes", "Show payloads as bits, and back as bytes.", "frames"),
    # Signal path
    Key("path.last", "up", "signal(-1)", "Last signal", "Show the signal before this one.", "path"),
    Key("path.next", "down", "signal(1)", "Next signal", "Show the signal after this one.", "path"),
    Key("path.pick", "p", "pick", "Pick signal", "List all signals to choose from; Escape closes the list.", "path"),
    Key("path.check", "n", "check", "Next check", "Draw the next check that uses this signal.", "path"),
    Key("path.large", "l", "large", "Large letters", "Frame, value, delay, verdict large, for a whole room.", "path"),
    # Logic
    Key("logic.log", "l", "log", "Trigger log", "Go to the trigger log, and back to the occurrences.", "logic"),
    Key("logic.jump", "j", "jump", "Jump there", "Go to the instant of the selected occurrence or trigger.", "logic"),
    Key(
        "logic.whole",
        "w",
        "whole",
        "Whole or to now",
        "Results of the whole recording, or up to the instant shown.",
        "logic",
    ),
    Key(
        "logic.export",
        "s",
        "export",
        "Save trigger log",
        "Write the trigger log as filtered to a CSV or JSON file.",
        "logic",
    ),
    # Replay
    Key("replay.play", "space", "player('play')", "Play or pause", "Let the recording run on, or stop it.", "replay"),
    Key(
        "replay.last",
        "left",
        "player('last')",
        "Step back",
        "To the last frame, edge, trigger, … before here.",
        "replay",
    ),
    Key(
        "replay.next", "right", "player('next')", "Step on", "To the next frame, edge, trigger, … after here.", "replay"
    ),
    Key(
        "replay.kind",
        "k",
        "player('kind')",
        "Kind of step",
        "What ← and → go to: frame, edge, trigger, failed, undecided, gap, marker, walk.",
        "replay",
    ),
    Key("replay.slower", "d", "player('slower')", "Slower", "Play more slowly, down to 0.1×.", "replay"),
    Key("replay.faster", "u", "player('faster')", "Faster", "Play faster, up to 100×.", "replay"),
    Key("replay.time", "g", "player('time')", "Go to time", "Type a time: 90, 1:30, +10, at 14:03:22, end.", "replay"),
    Key(
        "replay.marker",
        "m",
        "player('marker')",
        "Set marker",
        "Set a marker with a note, kept in the recording.",
        "replay",
    ),
    Key(
        "replay.pin",
        "x",
        "player('pin')",
        "Pin instant A",
        "Keep this instant as A, to compare another with.",
        "replay",
    ),
    Key(
        "replay.compare",
        "v",
        "player('compare')",
        "Compare with A",
        "List the signals that differ between A and now.",
        "replay",
    ),
    # Guided walk
    Key("walk.begin", "s", "begin", "Start the walk", "Ask for the first role that has no result.", "walk"),
    Key("walk.next", "n", "next", "Next role", "Go on with what was seen; nothing seen: not seen.", "walk"),
    Key("walk.again", "a", "again", "Ask again", "Ask for the same action from its start.", "walk"),
    Key(
        "walk.bell",
        "b",
        "bell",
        "Bell on or off",
        "Sound every prompt, edge and loss with the terminal's bell.",
        "walk",
    ),
    Key("walk.jump", "j", "jump", "Jump there", "Go to the instant of the selected result.", "walk"),
    Key("walk.wiggle", "w", "wiggle", "Wiggle test", "Watch one signal for edges and losses; w again ends.", "walk"),
)


ONLY_IN_REPLAY = ("logic.jump", "walk.jump")
"""Keys that say why they do nothing where nothing is replayed."""


def keys_with_screens(screens: Iterable[tuple[str, str, str, str]]) -> tuple[Key, ...]:
    """All keys, those that lead to the screens included. screens: (name, key, words, tooltip)."""
    own = tuple(Key(f"screen.{name}", key, f"go('{name}')", words, tip) for name, key, words, tip in screens)
    return (*KEYS[:2], *own, *KEYS[2:])


PLACES = {
    "everywhere": "Everywhere",
    "demo": "In the demo",
    "start": "Start page",
    "board": "On every screen",
    "rows": "In a list",
    "sheet": "In a drawing",
    "replay": "In a recording",
    "state": "State board",
    "frames": "Frames",
    "path": "Signal path",
    "logic": "Logic",
    "health": "Health",
    "walk": "Guided walk",
}
"""Value of `Key.where` -> words for help and README."""


def bindings(where: str, keys: Iterable[Key] = KEYS) -> list[BindingType]:
    """Textual's bindings for one place."""
    return [
        Binding(key.keys, key.action, key.words, show=key.footer, id=key.id, tooltip=key.tooltip, priority=key.at_once)
        for key in keys
        if key.where == where
    ]


_SIGNS = {
    "question_mark": "?", "pageup": "PgUp", "pagedown": "PgDn", "up": "↑", "down": "↓", "left": "←", "right": "→",
    "enter": "Enter", "escape": "Esc", "space": "Space", "tab": "Tab", "home": "Home", "end": "End", "comma": ",",
    "full_stop": ".", "left_square_bracket": "[", "right_square_bracket": "]", "plus": "+", "minus": "-",
    "less_than_sign": "<", "greater_than_sign": ">", "equals_sign": "=", "slash": "/",
    "left_curly_bracket": "{", "right_curly_bracket": "}", "left_parenthesis": "(", "right_parenthesis": ")",
}  # fmt: skip


def key_text(keys: str) -> str:
    """Textual's names as they stand on a keyboard: "question_mark,f1" -> "? F1"."""
    return " ".join(_one(name.strip()) for name in keys.split(","))


def _one(name: str) -> str:
    if name in _SIGNS:
        return _SIGNS[name]
    head, _, tail = name.partition("+")
    if tail:
        return f"{head.capitalize()}-{_one(tail)}"
    return name.upper() if len(name) > 1 and name[0] == "f" and name[1:].isdigit() else name


def readme_table(keys: Iterable[Key]) -> str:
    """The keys as a Markdown table, a row a place, for the README."""
    by_place: dict[str, list[str]] = {place: [] for place in PLACES}
    for key in keys:
        by_place[key.where].append(f"`{key_text(key.keys)}` {key.words}")
    rows = [f"| {PLACES[place]} | {' · '.join(words)} |" for place, words in by_place.items() if words]
    return "\n".join(["| where | keys |", "|---|---|", *rows])
