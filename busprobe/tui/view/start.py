"""Rows of the start page: what can be opened, and the adapters found."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from busprobe.tui.recent import Opened
from busprobe.tui.view.spans import Column, Row, Tone, cell

COLUMNS = (Column("", 10), Column("Name", 26, grow=1), Column("Where, or what it is", 24, grow=2, drop=1))

DEMO, OTHER = "demo", "other"
"""Keys of the rows that stand for no file."""
_OPENED, _ADAPTER = "opened ", "adapter "


class Adapter(NamedTuple):
    """A port through which a vehicle can be reached."""

    name: str
    about: str
    trouble: str = ""


def start_rows(recents: Sequence[Opened], adapters: Sequence[Adapter] | None) -> list[Row]:
    """Recent ones first, then the demo and another file, then adapters (None: they are being looked for)."""
    rows = [_recent(number, opened) for number, opened in enumerate(recents)]
    about = "A simulated van drives, live, with faults to set: gear, doors, beacons, 19 checks."
    rows.append(Row(DEMO, (cell("Demo", Tone.NOTE), cell("Patrol van"), cell(about, Tone.DIM))))
    about = "A recording (.duckdb, .log, .asc, .blf, .trc, .csv), or a bench file (.toml) for a live vehicle."
    rows.append(Row(OTHER, (cell("Open", Tone.NOTE), cell("Another file …"), cell(about, Tone.DIM))))
    rows += [_adapter(adapter) for adapter in adapters or ()]
    if not adapters:
        words = cell("being looked for …" if adapters is None else "none found", Tone.DIM)
        rows.append(Row(_ADAPTER, (cell("Adapter", Tone.HEAD), words, cell(""))))
    return rows


def chosen(key: str, recents: Sequence[Opened]) -> Opened | None:
    """The recent one that a row stands for."""
    return recents[int(key.removeprefix(_OPENED))] if key.startswith(_OPENED) else None


def is_adapter(key: str) -> bool:
    return key.startswith(_ADAPTER)


def from_text(text: str) -> Opened:
    """What a typed file name means: a bench file is a live vehicle, anything else a recording."""
    path = Path(text.strip()).expanduser()
    return Opened(None, path) if path.suffix.lower() == ".toml" else Opened(path, None)


def _recent(number: int, opened: Opened) -> Row:
    main = opened.recording or opened.bench or Path()
    kind = cell("Recording", Tone.HEAD) if opened.recording is not None else cell("Live", Tone.ON)
    where = str(main.parent)
    if opened.recording is not None and opened.bench is not None:
        where += f", with {opened.bench.name}"
    return Row(f"{_OPENED}{number}", (kind, cell(main.name, Tone.STRONG), cell(where, Tone.DIM)), str(main))


def _adapter(adapter: Adapter) -> Row:
    name = cell(f"! {adapter.name}", Tone.WARN) if adapter.trouble else cell(f"● {adapter.name}", Tone.ON)
    about = adapter.trouble or adapter.about
    return Row(_ADAPTER + adapter.name, (cell("Adapter", Tone.HEAD), name, cell(about, Tone.DIM)), adapter.name)
