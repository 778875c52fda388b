"""In a replay: when signals that are unknown will be known again."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from busprobe.engine.history import History
from busprobe.session.snapshot import SignalNow
from busprobe.timeline import TRUE


def with_ends(signals: Sequence[SignalNow], histories: Mapping[str, History], t_ns: int) -> tuple[SignalNow, ...]:
    """The signals of an instant, as far as their past goes on after it. histories: by signal."""
    return tuple(
        one if one.code <= TRUE else replace(one, until_ns=_known_again(histories[one.name], t_ns)) for one in signals
    )


def _known_again(history: History, t_ns: int) -> int | None:
    past = history.past
    after = past.index_at(t_ns) + 1
    known = past.code[after:] <= TRUE
    return int(past.t_ns[after + int(known.argmax())]) if known.any() else None
