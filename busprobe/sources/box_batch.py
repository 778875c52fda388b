"""From the samples of an input box to a batch."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from busprobe.frames import InputBatch


class Sample(NamedTuple):
    """All lines of a box at one time."""

    t_ns: int
    mask: int
    """Bit k is the level of on/off line k."""
    millivolts: tuple[int, ...]


def input_batch(box: str, samples: Sequence[Sample], analogue: int, complete_to_ns: int) -> InputBatch:
    """Samples in order of time; `analogue` columns of millivolts, none where it is 0."""
    volts = [sample.millivolts[:analogue] for sample in samples]
    return InputBatch(
        box,
        np.array([sample.t_ns for sample in samples], np.int64),
        np.array([sample.mask for sample in samples], np.uint64),
        np.array(volts, np.int32).reshape(len(samples), analogue) if analogue else None,
        complete_to_ns=complete_to_ns,
    )
