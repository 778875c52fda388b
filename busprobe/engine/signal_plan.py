"""One signal of the bench file joined with the databases: where its samples come from."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType

from busprobe.bench.model import Bench, InputBox, Line, Signal, SignalType, Tap
from busprobe.bench.units import factor_between, normalise
from busprobe.decode import pids
from busprobe.decode.freshness import CYCLES, LEAST_AGE_NS
from busprobe.decode.layout import Database, MessageLayout, SignalLayout
from busprobe.errors import BenchError, nearest

OTHER_SOURCE = 1e6
"""Added to values of a second source that no label ties to those of the first."""


@dataclass(frozen=True)
class MessageTap:
    """A signal of a message on a bus."""

    bus: str
    message: MessageLayout
    layout: SignalLayout
    unknown_raw: tuple[int, ...] = ()
    max_age_ns: int | None = None


@dataclass(frozen=True)
class ObdTap:
    """A quantity of OBD answers on a bus."""

    bus: str
    name: str
    max_age_ns: int | None = None


@dataclass(frozen=True)
class LineTap:
    """A wire on an input box."""

    box: InputBox
    line: Line

    @property
    def is_condition(self) -> bool:
        return not self.line.analogue or self.line.above_mv is not None


@dataclass(frozen=True)
class Source:
    """A tap and how its values become the signal's."""

    tap: MessageTap | ObdTap | LineTap
    scale: float = 1.0
    offset: float = 0.0
    recode: Mapping[float, float] | None = None
    """Value of this source -> value of the first one with the same label."""


@dataclass(frozen=True)
class SignalPlan:
    name: str
    sources: tuple[Source, ...]
    type: SignalType
    texts: Mapping[float, str] = field(default_factory=lambda: MappingProxyType({}))
    """Value -> label."""


@dataclass(frozen=True)
class _Found:
    """A tap, the unit and the labels that its values have there."""

    tap: MessageTap | ObdTap | LineTap
    unit: str | None = None
    labels: Mapping[float, str] = field(default_factory=lambda: MappingProxyType({}))
    two_bit: bool = False


def plan_signal(signal: Signal, bench: Bench, databases: Mapping[str, Sequence[Database]]) -> SignalPlan:
    """Resolve the taps of a signal. Raises BenchError at the signal's line of the bench file."""
    found = [_find(signal, tap, bench, databases) for tap in signal.taps]
    found = [replace(f, labels=_renamed(signal, f.labels)) for f in found]
    first = found[0]
    unit = normalise(signal.unit) if signal.unit is not None else normalise(first.unit)
    texts: dict[float, str] = {}
    sources = [_source(signal, f, unit, texts) for f in found]
    labels: dict[str, tuple[float, ...]] = {}
    for value, label in texts.items():
        labels[label] = (*labels.get(label, ()), value)
    for value in {v for s in sources for v in (s.recode or {}).values()} - texts.keys():
        texts[value] = f"{value - OTHER_SOURCE:g}"
    only_condition = len(found) == 1 and isinstance(first.tap, LineTap) and first.tap.is_condition
    kind = SignalType(unit, labels, is_condition=only_condition, two_bit=any(f.two_bit for f in found))
    return SignalPlan(signal.name, tuple(sources), kind, texts)


def _source(signal: Signal, found: _Found, unit: str | None, texts: dict[float, str]) -> Source:
    """How a tap's values become the signal's; `texts` (value -> label) of those before it grows."""
    if found.unit is None or unit is None:
        factor = (1.0, 0.0) if normalise(found.unit) == unit or found.unit is None else None
    else:
        factor = factor_between(found.unit, unit)
    if factor is None:
        raise _error(signal, f'Signal "{signal.name}": "{found.unit}" cannot be turned into "{unit or "no unit"}".')
    labels = {value * factor[0] + factor[1]: label for value, label in found.labels.items()}
    if not texts or not labels:
        texts.update(labels)
        return Source(found.tap, *factor)
    by_label = {label: value for value, label in reversed(texts.items())}
    # A value without a label here must not be taken for one that has one there.
    recode = {value: OTHER_SOURCE + value for value in texts.keys() - labels.keys()}
    for value, label in labels.items():
        recode[value] = by_label.get(label, OTHER_SOURCE + value)
        texts.setdefault(recode[value], label)
    return Source(found.tap, *factor, recode)


def _renamed(signal: Signal, labels: Mapping[float, str]) -> Mapping[float, str]:
    """Labels under the names that the bench file gives them."""
    if signal.values is None:
        return labels
    for label in signal.values:
        if label not in labels.values():
            raise _error(
                signal,
                f'Signal "{signal.name}": the database has no value "{label}".' + nearest(label, labels.values()),
            )
    return {value: signal.values.get(label, label) for value, label in labels.items()}


def _find(signal: Signal, tap: Tap, bench: Bench, databases: Mapping[str, Sequence[Database]]) -> _Found:
    if tap.kind == "line":
        return _find_line(tap, bench)
    if tap.kind == "obd":
        return _find_obd(signal, tap, bench)
    return _find_message(signal, tap, databases)


def _find_line(tap: Tap, bench: Bench) -> _Found:
    box = next(b for b in bench.boxes if b.name == tap.owner)
    line = next(x for x in box.lines if x.name == tap.message)
    found = LineTap(box, line)
    return _Found(found, None if found.is_condition else "V")


def _find_obd(signal: Signal, tap: Tap, bench: Bench) -> _Found:
    name = f"{tap.message}.{tap.signal}" if tap.signal else tap.message
    quantity = pids.find(name)
    if quantity is None:
        raise _error(signal, f'Signal "{signal.name}": "obd.{name}" is no quantity of OBD service 01 known here.')
    bus = bench.obd.bus if bench.obd is not None else bench.buses[0].name
    max_age = signal.max_age_ns
    if max_age is None and bench.obd is not None and bench.obd.every_ns is not None:
        max_age = max(CYCLES * bench.obd.every_ns, LEAST_AGE_NS)
    labels = {float(raw): label for raw, label in quantity.labels.items()}
    return _Found(ObdTap(bus, quantity.name, max_age), quantity.unit, labels)


def _find_message(signal: Signal, tap: Tap, databases: Mapping[str, Sequence[Database]]) -> _Found:
    known = databases.get(tap.owner, ())
    message = next((m for d in known if (m := d.message(tap.message)) is not None), None)
    if message is None:
        files = ", ".join(d.path.name for d in known) or "none given"
        names = [m.name for d in known for m in d.messages]
        raise _error(
            signal,
            f'Signal "{signal.name}": no message "{tap.message}" in the databases of bus "{tap.owner}" ({files}).'
            + nearest(tap.message, names),
        )
    layout = message.signal(tap.signal)
    if layout is None:
        if tap.signal in message.left_out:
            text = f'Signal "{signal.name}": "{tap.text}" is faulty in its database and cannot be used.'
            raise _error(signal, text, hint="Mend the database; survey lists what is wrong with it.")
        raise _error(
            signal,
            f'Signal "{signal.name}": no signal "{tap.signal}" in message "{message.name}".'
            + nearest(tap.signal, [s.name for s in message.signals]),
        )
    said = {raw: label for raw, label in layout.choices.items() if raw not in layout.not_available}
    labels = {raw * layout.scale + layout.offset: label for raw, label in said.items()}
    two_bit = layout.length == 2 and not layout.signed and not {2, 3} & said.keys()
    return _Found(
        MessageTap(tap.owner, message, layout, signal.unknown_raw, signal.max_age_ns), layout.unit, labels, two_bit
    )


def _error(signal: Signal, message: str, hint: str | None = None) -> BenchError:
    return BenchError(message, path=signal.origin.path, line=signal.origin.line, hint=hint)
