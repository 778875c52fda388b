"""What screens show: frozen pictures of a live run or of one instant of a recording.

A screen pulls one about ten times a second and paints it; nothing per frame crosses into it.
All times are event time, ns.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from busprobe.analysis.intervals import Sending
from busprobe.frames import FloatArray, Int64Array, UInt8Array, UInt32Array, UInt64Array
from busprobe.health import RequestsNow
from busprobe.results import CheckResult, Logged, Verdict
from busprobe.session.downs import DownsNow
from busprobe.session.signals_now import Kind, SignalNow, SignalsNow
from busprobe.session.sources_now import RecorderNow, SourceNow

__all__ = [
    "EMPTY_TABLE",
    "BitField",
    "ClosedBox",
    "FrameDetail",
    "FrameTable",
    "Kind",
    "Mark",
    "RecorderNow",
    "SignalNow",
    "SignalPath",
    "Snapshot",
    "SourceNow",
    "Stage",
    "User",
]


@dataclass(frozen=True)
class FrameTable:
    """One row for each (channel, identifier) heard so far, in the order first heard."""

    channels: tuple[str, ...]
    channel: UInt8Array
    identifier: UInt32Array
    is_extended: UInt8Array
    count: Int64Array
    period_ns: Int64Array
    """(n,) mean of the newest intervals; 0 before there are any."""
    jitter_ns: Int64Array
    """(n,) mean deviation of the newest intervals from `period_ns`."""
    last_ns: Int64Array
    length: UInt8Array
    words: UInt64Array
    """(n, 8) payload of the newest frame, as in `frames`."""
    changed: UInt64Array
    """(n, 8) bits that changed in the last second or so."""
    changed_ns: Int64Array
    """(n,) when the payload was last another one than in the frame before; NEVER of `timeline` where it never was."""
    share: FloatArray
    """(n,) share of all bits on its channel, 0 to 1."""
    message: tuple[str, ...]
    """(n,) message names; empty where no database has it."""
    sending: tuple[Sending, ...]
    """(n,) whether in a cycle or on change, as far as that can be told."""

    def __len__(self) -> int:
        return len(self.identifier)


EMPTY_TABLE = FrameTable(
    (), np.empty(0, np.uint8), np.empty(0, np.uint32), np.empty(0, np.uint8), np.empty(0, np.int64),
    np.empty(0, np.int64), np.empty(0, np.int64), np.empty(0, np.int64), np.empty(0, np.uint8),
    np.empty((0, 8), np.uint64), np.empty((0, 8), np.uint64), np.empty(0, np.int64), np.empty(0), (), (),
)  # fmt: skip


@dataclass(frozen=True)
class BitField:
    """One signal of a message, as drawn in the details of a frame."""

    name: str
    bits: tuple[int, ...]
    """DBC bit numbers (byte * 8 + bit), most significant first."""
    raw: int | float | None
    """None: not in this frame."""
    text: str
    """Value with unit or label."""


@dataclass(frozen=True)
class FrameDetail:
    """The newest frame of one identifier, and what its database says of it."""

    channel: str
    identifier: int
    is_extended: bool
    message: str
    t_ns: int
    payload: bytes
    changed: bytes
    fields: tuple[BitField, ...]
    comment: str = ""


@dataclass(frozen=True)
class Stage:
    """One step on the way from the wire to the lamp."""

    title: str
    """"Frame", "Bits", "Raw", "Value", "Freshness", "Debounce", "Request", "Level" ..."""
    text: str
    """What it is now."""
    detail: str = ""
    """How it comes about: position and byte order, factor and offset, polarity, time."""
    code: int | None = None
    """Timeline code where the stage is a condition."""


NOT_SEEN = "not seen"
"""What a user says that has never been told: nothing came yet of what it is made of."""


@dataclass(frozen=True)
class User:
    """A check, trigger or derived signal that uses a signal, and what it says now."""

    kind: str
    """"check", "trigger", "derived"."""
    name: str
    text: str
    """Its expression, then what it says: "when gear == 'R': on"."""
    code: int | None = None


@dataclass(frozen=True)
class ClosedBox:
    """The controller between an input edge and an output edge, last time."""

    cause: str
    cause_ns: int | None
    effect: str
    effect_ns: int | None
    """None: not come yet."""
    check: str
    limit_ns: int | None

    @property
    def delay_ns(self) -> int | None:
        return None if self.cause_ns is None or self.effect_ns is None else self.effect_ns - self.cause_ns


@dataclass(frozen=True)
class SignalPath:
    """Everything between the wire and the lamp, for one signal."""

    signal: SignalNow
    stages: tuple[Stage, ...]
    payload: bytes | None = None
    """Bytes of the frame that carries it; None for a line."""
    bits: tuple[int, ...] = ()
    """Bit numbers of the signal in that payload, most significant first."""
    users: tuple[User, ...] = ()
    boxes: tuple[ClosedBox, ...] = ()
    """One for each check that expects something after this signal."""


@dataclass(frozen=True)
class Mark:
    """Something on the timeline bar."""

    t_ns: int
    kind: str
    """"edge", "trigger", "failed", "undecided", "gap", "marker", "walk"."""
    text: str
    until_ns: int | None = None
    """Where it lasts: when it ends."""


@dataclass(frozen=True)
class Snapshot:
    """Everything that the screens show, at one instant."""

    mode: str
    """"live" or "replay"."""
    vehicle: str
    title: str
    """Recording's file name, or "live"."""
    t_ns: int
    """The instant shown."""
    start_ns: int
    end_ns: int
    """End of the recording; live: now."""
    signals: Sequence[SignalNow] = ()
    """In the order of the bench file, derived ones last."""
    frames: FrameTable = EMPTY_TABLE
    checks: tuple[CheckResult, ...] = ()
    """Each with the occurrences decided up to `t_ns`."""
    triggers: Sequence[Logged] = ()
    """The trigger log: what was decided up to `t_ns`, oldest first; live: the newest 1,000."""
    sources: tuple[SourceNow, ...] = ()
    recorder: RecorderNow | None = None
    problems: tuple[str, ...] = ()
    """Faults of databases, damage of the recording, other things to know; a sentence each."""
    lost: int = 0
    late: int = 0
    is_playing: bool = False
    speed: float = 1.0
    loaded: float = 1.0
    """Share of the recording evaluated so far."""
    failure: str = ""
    """Why nothing more comes: the text of the error that ended it."""
    requests: tuple[RequestsNow, ...] = ()
    """Live: by bus, as far as somebody asks there."""
    downs: Mapping[str, DownsNow] = field(default_factory=dict)
    """By source, when it was down up to `t_ns`."""

    @property
    def failed(self) -> int:
        """Checks that have failed."""
        return sum(check.verdict is Verdict.FAIL for check in self.checks)

    @property
    def undecided(self) -> int:
        """Checks that could not be decided."""
        return sum(check.verdict is Verdict.UNDECIDED for check in self.checks)

    def signal(self, name: str) -> SignalNow | None:
        if isinstance(self.signals, SignalsNow):
            return self.signals.named(name)
        return next((s for s in self.signals if s.name == name), None)

    def signals_of(self, role: str) -> list[SignalNow]:
        """The signals of a role, in their order."""
        if isinstance(self.signals, SignalsNow):
            return self.signals.of_role(role)
        return [s for s in self.signals if s.role == role]
