"""What OBD traffic showed: values, trouble codes, VIN, refusals, and testers that ask.

The session tells the tally of each thing decoded; the tally keeps one entry for each kind.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

ObdValue = float | str


@dataclass(frozen=True)
class ObdSeen:
    """One quantity that one control unit answered."""

    channel: str
    control_unit: str
    """Identifier of its answers in hex: "7E8"."""
    service: int
    pid: str
    """Two upper-case hex digits."""
    name: str
    """As in a bench file after `obd.`: "0D", "14.voltage"."""
    title: str
    """What it is, for a person."""
    unit: str
    count: int
    first_ns: int
    last_ns: int
    first: ObdValue
    last: ObdValue
    least: float | None
    """None where the values are texts."""
    greatest: float | None


@dataclass(frozen=True)
class TesterSeen:
    """Somebody who asks on the bus."""

    channel: str
    identifier: int
    extended: bool
    was_sent: bool
    """The machine that recorded; False: another tester."""
    requests: int
    first_ns: int
    last_ns: int
    pids: tuple[str, ...]
    """What it asked for: "01 0D", "03", in the order of first sight."""

    @property
    def per_second(self) -> float | None:
        """Requests a second; None for a single one."""
        span_ns = self.last_ns - self.first_ns
        return (self.requests - 1) * 1e9 / span_ns if span_ns > 0 else None


@dataclass(frozen=True)
class IdentitySeen:
    """What a vehicle or control unit said that it is (service 09)."""

    channel: str
    control_unit: str
    infotype: int
    title: str
    """"VIN", "Calibration identification" ..."""
    text: str
    note: str
    """What the check digit of a VIN says; else empty."""
    t_ns: int
    """When it was first seen."""


@dataclass(frozen=True)
class CodeSeen:
    """A trouble code that a control unit reported, or its answer that it has none."""

    channel: str
    control_unit: str
    code: str
    """As text: "P0301"; empty for an answer without codes."""
    kind: str
    """"confirmed", "pending", "permanent", or "cleared"."""
    count: int
    first_ns: int
    last_ns: int


@dataclass(frozen=True)
class NegativeSeen:
    """A request that a control unit refused."""

    channel: str
    control_unit: str
    service: int
    reason_code: int
    reason: str
    count: int
    first_ns: int
    last_ns: int


@dataclass(frozen=True)
class ObdSummary:
    values: tuple[ObdSeen, ...] = ()
    testers: tuple[TesterSeen, ...] = ()
    identities: tuple[IdentitySeen, ...] = ()
    codes: tuple[CodeSeen, ...] = ()
    negatives: tuple[NegativeSeen, ...] = ()
    broken: int = 0
    """Messages of several frames that were begun and never completed."""
    malformed: int = 0
    """Answers with fewer or more bytes than their own fields call for."""

    @property
    def is_empty(self) -> bool:
        return not (self.values or self.testers or self.identities or self.codes or self.negatives)


@dataclass
class ObdTally:
    """Gathers an `ObdSummary`; `t_ns` is given in the order of the recording."""

    _values: dict[tuple[str, str, int, str, str], ObdSeen] = field(default_factory=dict)
    _testers: dict[tuple[str, int, bool, bool], TesterSeen] = field(default_factory=dict)
    _identities: dict[tuple[str, str, int, str], IdentitySeen] = field(default_factory=dict)
    _codes: dict[tuple[str, str, str, str], CodeSeen] = field(default_factory=dict)
    _negatives: dict[tuple[str, str, int, int], NegativeSeen] = field(default_factory=dict)

    def value(
        self, t_ns: int, channel: str, control_unit: str, *, service: int, pid: str, name: str, title: str,
        value: ObdValue, unit: str = "",
    ) -> None:  # fmt: skip
        """A quantity of an answer."""
        key = (channel, control_unit, service, pid, name)
        number = None if isinstance(value, str) else value
        old = self._values.get(key)
        if old is None:
            self._values[key] = ObdSeen(
                channel, control_unit, service, pid, name, title, unit, 1, t_ns, t_ns, value, value, number, number
            )
            return
        self._values[key] = replace(
            old,
            count=old.count + 1,
            last_ns=t_ns,
            last=value,
            least=_widest(min, old.least, number),
            greatest=_widest(max, old.greatest, number),
        )

    def request(
        self, t_ns: int, channel: str, identifier: int, *, extended: bool, was_sent: bool, asked: Sequence[str]
    ) -> None:
        """A request; asked: "01 0D" for a PID, "03" for a whole service."""
        key = (channel, identifier, extended, was_sent)
        old = self._testers.get(key, TesterSeen(channel, identifier, extended, was_sent, 0, t_ns, t_ns, ()))
        pids = tuple(dict.fromkeys((*old.pids, *asked)))
        self._testers[key] = replace(old, requests=old.requests + 1, last_ns=t_ns, pids=pids)

    def identity(
        self, t_ns: int, channel: str, control_unit: str, *, infotype: int, title: str, text: str, note: str
    ) -> None:
        """An answer to service 09, kept with the time of its first sight."""
        seen = IdentitySeen(channel, control_unit, infotype, title, text, note, t_ns)
        self._identities.setdefault((channel, control_unit, infotype, text), seen)

    def codes(self, t_ns: int, channel: str, control_unit: str, kind: str, codes: Sequence[str]) -> None:
        """An answer with trouble codes, or with none."""
        for code in codes or ("",):
            key = (channel, control_unit, kind, code)
            old = self._codes.get(key, CodeSeen(channel, control_unit, code, kind, 0, t_ns, t_ns))
            self._codes[key] = replace(old, count=old.count + 1, last_ns=t_ns)

    def negative(
        self, t_ns: int, channel: str, control_unit: str, *, service: int, reason_code: int, reason: str
    ) -> None:
        """A refusal."""
        key = (channel, control_unit, service, reason_code)
        old = self._negatives.get(key)
        if old is None:
            old = NegativeSeen(channel, control_unit, service, reason_code, reason, 0, t_ns, t_ns)
        self._negatives[key] = replace(old, count=old.count + 1, last_ns=t_ns)

    def result(self, broken: int = 0, malformed: int = 0) -> ObdSummary:
        """What was gathered so far, sorted by channel and control unit."""
        return ObdSummary(
            tuple(self._values[key] for key in sorted(self._values)),
            tuple(self._testers[key] for key in sorted(self._testers)),
            tuple(self._identities[key] for key in sorted(self._identities)),
            tuple(self._codes[key] for key in sorted(self._codes)),
            tuple(self._negatives[key] for key in sorted(self._negatives)),
            broken,
            malformed,
        )


def _widest(choose: Callable[[float, float], float], old: float | None, new: float | None) -> float | None:
    if old is None or new is None:
        return old if new is None else new
    return choose(old, new)
