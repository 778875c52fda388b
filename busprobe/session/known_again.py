"""In a replay: when signals that are unknown will be known again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from busprobe.engine.history import History
from busprobe.session.signals_now import SignalNow, SignalsNow
from busprobe.timeline import TRUE


def with_ends(signals: SignalsNow, histories: Mapping[str, History], t_ns: int) -> SignalsNow:
    """The signals of an instant, as far as their past goes on after it. histories: by signal."""

    def with_end(one: SignalNow) -> SignalNow:
        return one if one.code <= TRUE else replace(one, until_ns=_known_again(histories[one.name], t_ns))

    return signals.changed(with_end)


def _known_again(history: History, t_ns: int) -> int | None:
    past = history.past
    after = past.index_at(t_ns) + 1
    known = past.code[after:] <= TRUE
    return int(past.t_ns[after + int(known.argmax())]) if known.any() else None
