"""Reads a bench file, the TOML file that describes one vehicle's set-up.

    [vehicle]
    name = "Roads patrol van 12"
    [signals]
    gear = { from = "body.TransmissionStatus.SelectedGear", role = "gear" }

TOML 1.0, https://toml.io/en/v1.0.0. Everything that needs no database is checked here.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from dataclasses import replace
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

from busprobe.bench.hardware import read_boxes, read_buses, read_obd
from busprobe.bench.marker import with_marker
from busprobe.bench.model import Bench, Derived, Expect, Follows, Invariant, Text
from busprobe.bench.places import find_places
from busprobe.bench.rules import read_checks, read_triggers
from busprobe.bench.section import Section, error_at
from busprobe.bench.signals import read_signals
from busprobe.bench.syntax import names_of, parse, refuse_unknown
from busprobe.bench.toml_error import toml_error
from busprobe.errors import BenchError, OpenError, nearest

TABLES = ("vehicle", "bus", "inputs", "obd", "record", "signals", "check", "trigger")


def load(path: Path) -> Bench:
    """The bench file at `path`. Raises OpenError, or BenchError at the first thing wrong in it."""
    if path.is_dir():
        raise OpenError("This is a directory; a bench file is wanted.", path=path)
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        siblings = [p.name for p in path.parent.glob("*.toml")]
        hint = f"Check the name and the folder.{nearest(path.name, siblings)}"
        raise OpenError("There is no such bench file.", path=path, hint=hint) from None
    except OSError as error:
        raise OpenError(f"The bench file cannot be read: {error.strerror}.", path=path) from None
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        message = f'Byte "{data[error.start]:02X}" is not UTF-8 text, as a bench file must be.'
        raise BenchError(message, path=path, line=line) from None
    return loads(text, path)


def loads(text: str, path: Path | None = None) -> Bench:
    """The bench file with this text. Raises BenchError at the first thing wrong in it."""
    lines = text.removeprefix("\ufeff").replace("\r\n", "\n")
    if not lines.strip():
        raise BenchError("The bench file is empty.", path=path)
    try:
        data = tomllib.loads(lines)
    except tomllib.TOMLDecodeError as error:
        raise toml_error(lines, path, str(error)) from None
    except RecursionError:
        raise BenchError("The bench file is nested too deep to be read.", path=path) from None
    bench = _read(Section(data, "the bench file", (), find_places(lines, path)), text)
    _check_names(bench)
    return replace(bench, derived=_in_order(bench))


def _read(root: Section, text: str) -> Bench:
    root.refuse_unknown(TABLES)
    vehicle = root.table("vehicle", "[vehicle]")
    if vehicle is None:
        raise root.error('The bench file has no table [vehicle] with the "name" of the vehicle.')
    vehicle.refuse_unknown(("name",))
    buses = read_buses(root)
    boxes = read_boxes(root, buses)
    signals, derived = read_signals(root, buses, boxes)
    bench = Bench(
        path=root.places.path,
        text=text,
        vehicle=vehicle.must_text("name"),
        buses=buses,
        boxes=boxes,
        obd=read_obd(root, buses),
        signals=signals,
        derived=derived,
        checks=read_checks(root),
        triggers=read_triggers(root),
    )
    return with_marker(root, bench)


def _check_names(bench: Bench) -> None:
    """Every name in an expression is a signal; also reads every expression."""
    known = [*(signal.name for signal in bench.signals), *(derived.name for derived in bench.derived)]
    for text in _expressions(bench):
        refuse_unknown(parse(text), known)


def _expressions(bench: Bench) -> Iterator[Text]:
    for derived in bench.derived:
        yield derived.when
    for check in bench.checks:
        match check:
            case Expect():
                yield from (check.when, check.expect)
            case Follows():
                yield from (check.when, check.follows)
            case Invariant():
                yield check.condition
                if check.given:
                    yield check.given
    for trigger in bench.triggers:
        yield trigger.on


def _in_order(bench: Bench) -> tuple[Derived, ...]:
    """Derived signals, each after those that it is made from."""
    by_name = {derived.name: derived for derived in bench.derived}
    sorter = TopologicalSorter({d.name: [n for n in names_of(parse(d.when)) if n in by_name] for d in bench.derived})
    try:
        return tuple(by_name[name] for name in sorter.static_order())
    except CycleError as error:
        circle = error.args[1][::-1]
        start = by_name[circle[0]]
        raise error_at(start.when.origin, f'"{start.name}" is made from itself: {" from ".join(circle)}.') from None
