"""A bench file whose databases cannot all be read: what needs them is unknown, the rest is as ever.

    gear = { from = "body.TransmissionStatus.SelectedGear" }      the database of body is missing
    expect ... when = "gear == 'R'"                               gear has a value "R", and is never known

Each such signal gets a stand-in that no frame ever matches; its labels and unit are those that the
bench file speaks of. What cannot be bound even so is left out, and said.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import fields, replace
from pathlib import Path

from busprobe.bench.model import Bench, Check, Derived, Signal, Text, Trigger
from busprobe.bench.syntax import parse
from busprobe.bench.units import is_quantity, quantity
from busprobe.decode.database import load as load_database
from busprobe.decode.layout import Database, MessageLayout, SignalLayout
from busprobe.engine.plan import Plan, build
from busprobe.errors import BenchError, DatabaseError, OpenError, Problems
from busprobe.session.origin import FIRST_STAND_IN
from busprobe.session.verifying import load_checked

Databases = Mapping[str, Sequence[Database]]


def load_what_is_there(path: Path, problems: Problems) -> tuple[Plan, Databases]:
    """A bench file with those of its databases that can be read; `problems` is told of the others."""
    return plan_of_what_is_there(load_checked(path), problems)


def plan_of_what_is_there(
    bench: Bench, problems: Problems, absent: Mapping[Path, str] | None = None
) -> tuple[Plan, Databases]:
    """The same for a bench file that has been read. absent: databases not to be looked for, and what to say.

    Raises BenchError where the bench file is at fault and no database.
    """
    read: dict[Path, Database] = {}
    missing: dict[Path, str] = dict(absent or {})
    for path in (p for bus in bench.buses for p in bus.databases):
        if path in read or path in missing:
            continue
        try:
            read[path] = load_database(path)
        except (OpenError, DatabaseError) as error:
            missing[path] = str(error)
    databases = {bus.name: [read[p] for p in bus.databases if p in read] for bus in bench.buses}
    if not missing:
        return build(bench, databases), databases
    gone = {bus.name: [path.name for path in bus.databases if path in missing] for bus in bench.buses}
    made = _StandIns(bench, databases, {name: ", ".join(files) for name, files in gone.items() if files})
    buses_of = {path: [bus.name for bus in bench.buses if path in bus.databases] for path in missing}
    for path, told in missing.items():
        names = [name for name, bus in made.buses.items() if bus in buses_of[path]]
        problems.add(told + (f"\nUnknown without it: {', '.join(names)}." if names else ""))
    usable, left_out = _usable(made.bench, made.databases, made.doubtful)
    if left_out:
        problems.add(f"Left out, because only a database that is missing tells enough: {', '.join(left_out)}.")
    return build(usable, made.databases), databases


class _StandIns:
    """The bench file and databases with stand-ins for what the missing ones told."""

    def __init__(self, bench: Bench, databases: Databases, incomplete: Mapping[str, str]) -> None:
        """incomplete: by bus of which databases are missing, their names."""
        self.buses: dict[str, str] = {}
        """Signals that have nothing but a stand-in, and its bus."""
        self.doubtful: set[str] = set()
        """These, and those that lack a source."""
        self._labels, self._units = _spoken_of(bench)
        wanted: dict[tuple[str, str], list[SignalLayout]] = {}
        signals = []
        for signal in bench.signals:
            lost = [
                tap
                for tap in signal.taps
                if tap.kind == "message"
                and tap.owner in incomplete
                and all(d.message(tap.message) is None for d in databases[tap.owner])
            ]
            if lost:
                self.doubtful.add(signal.name)
            kept = tuple(tap for tap in signal.taps if tap not in lost) or signal.taps[:1]
            if lost and kept[0] in lost:
                self.buses[signal.name] = kept[0].owner
                layouts = wanted.setdefault((kept[0].owner, kept[0].message), [])
                layouts.append(self._layout(signal, kept[0].signal, len(layouts)))
            signals.append(replace(signal, taps=kept))
        self.bench = replace(bench, signals=tuple(signals))
        self.databases = {bus: [*found] for bus, found in databases.items()}
        for number, ((bus, name), layouts) in enumerate(wanted.items()):
            message = MessageLayout(
                name, FIRST_STAND_IN + number, False, 8, signals=tuple(layouts),
                comment=f"{incomplete[bus]} missing",
            )  # fmt: skip
            self.databases[bus].append(Database(Path("missing"), (message,)))

    def _layout(self, signal: Signal, name: str, at: int) -> SignalLayout:
        renamed = signal.values or {}
        spoken = [label for label in self._labels.get(signal.name, ()) if label not in renamed.values()]
        choices = dict(enumerate(dict.fromkeys([*renamed, *spoken])))
        unit = signal.unit or self._units.get(signal.name)
        return SignalLayout(name, at % 8 * 8, 8, False, False, False, unit=unit, choices=choices)


def _spoken_of(bench: Bench) -> tuple[Mapping[str, list[str]], Mapping[str, str]]:
    """Labels and units that expressions compare signals with, by signal."""
    labels: dict[str, list[str]] = {}
    units: dict[str, str] = {}
    for tree in (parse(text).tree for text in _expressions((*bench.derived, *bench.checks, *bench.triggers))):
        for node in ast.walk(tree):
            if isinstance(node, ast.Compare):
                _compared(node, labels, units)
    for made in bench.derived:
        if made.above is not None:
            _note_unit(parse(made.when).tree, made.above.text, units)
    return labels, units


def _compared(node: ast.Compare, labels: dict[str, list[str]], units: dict[str, str]) -> None:
    sides = [node.left, *node.comparators]
    texts = [n.value for s in sides for n in ast.walk(s) if isinstance(n, ast.Constant) and isinstance(n.value, str)]
    for text in texts:
        for side in sides:
            if is_quantity(text):
                _note_unit(side, text, units)
            elif isinstance(side, ast.Name):
                labels.setdefault(side.id, []).append(text)


def _note_unit(side: ast.expr, text: str, units: dict[str, str]) -> None:
    unit = quantity(text)[1]
    calls = {id(a) for n in ast.walk(side) if isinstance(n, ast.Call) for a in ast.walk(n)}
    for name in (n for n in ast.walk(side) if isinstance(n, ast.Name) and id(n) not in calls):
        if unit is not None:
            units.setdefault(name.id, unit)


def _expressions(items: Sequence[Check | Trigger | Derived]) -> Iterator[Text]:
    for item in items:
        levels = (item.above, item.below_again) if isinstance(item, Derived) else ()
        for field in fields(item):
            value = getattr(item, field.name)
            if isinstance(value, Text) and value not in levels:
                yield value


def _usable(bench: Bench, databases: Databases, doubtful: set[str]) -> tuple[Bench, list[str]]:
    """The bench file without what cannot be bound because of the signals in `doubtful`, and its names."""
    bare = replace(bench, derived=(), checks=(), triggers=())
    left_out: list[str] = []

    def fits(item: Check | Trigger | Derived, trial: Bench) -> bool:
        names = {n.id for t in _expressions((item,)) for n in ast.walk(parse(t).tree) if isinstance(n, ast.Name)}
        try:
            build(trial, databases)
        except BenchError:
            if not names & doubtful:
                raise
            doubtful.add(item.name)
            left_out.append(item.name if isinstance(item, Derived) else f'"{item.name}"')
            return False
        return True

    derived: tuple[Derived, ...] = ()
    for made in bench.derived:
        if fits(made, replace(bare, derived=(*derived, made))):
            derived = (*derived, made)
    bare = replace(bare, derived=derived)
    checks = tuple(c for c in bench.checks if fits(c, replace(bare, checks=(c,))))
    triggers = tuple(t for t in bench.triggers if fits(t, replace(bare, triggers=(t,))))
    return replace(bare, checks=checks, triggers=triggers), left_out
