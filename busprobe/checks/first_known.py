"""A signal that has several sources."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from busprobe.checks.pointwise import BOTH, Codes, Combined, Pointwise, Values, merged_times
from busprobe.frames import Int64Array
from busprobe.timeline import TRUE, Changes


class FirstKnown:
    """A signal with several sources: the first one listed that is known at a time."""

    def __init__(self, arity: int) -> None:
        self._merge = Pointwise(arity, self._choose, quantity=True)
        self._chosen: Int64Array = np.empty(0, np.int64)
        self._last = -1

    def step(self, parts: Sequence[Changes], upto_ns: int) -> Changes:
        times = merged_times(parts)
        out = self._merge.step(parts, upto_ns)
        if not len(times):
            return out
        chosen = self._chosen[-len(times) :]
        before = np.concatenate([[self._last], chosen[:-1]])
        self._last = int(chosen[-1])
        quiet = times[(chosen != before) & (chosen >= 0) & (before >= 0)]
        quiet = np.union1d(quiet, out.quiet).astype(np.int64)
        return Changes(out.t_ns, out.code, out.value, upto_ns, out.settled, quiet)

    def _choose(self, codes: Codes, values: Values) -> Combined:
        code, value = codes[-1], values[-1]
        assert value is not None
        chosen = np.where(code == TRUE, len(codes) - 1, -1)
        for i in range(len(codes) - 2, -1, -1):
            own = values[i]
            assert own is not None
            known = codes[i] == TRUE
            code = np.where(known | (code == TRUE), TRUE, BOTH[codes[i], code]).astype(np.uint8)
            value = np.where(known, own, value)
            chosen = np.where(known, i, chosen)
        self._chosen = chosen.astype(np.int64)
        return code, value
