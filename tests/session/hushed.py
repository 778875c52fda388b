"""The simulated van's bus, from which messages, or all, can be taken away while it drives."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace

import numpy as np
from plugged import FROM_S, PluggedSource
from scripted import BENCH, van_batches

from busprobe.frames import FrameBatch, InputBatch
from busprobe.session.live_scene import LiveScene
from busprobe.session.verifying import load_plan
from busprobe.sources.clock import Clock

TRANSMISSION = 0x0E4
"""Identifier of TransmissionStatus in patrol_van.dbc."""


class HushedSource(PluggedSource):
    """is_silent: no frame comes any more. gone: identifiers that do not come. shift: added to every identifier."""

    is_silent = False
    gone: tuple[int, ...] = ()
    shift = 0

    def read(self) -> FrameBatch | InputBatch:
        batch = super().read()
        if not isinstance(batch, FrameBatch):
            return batch
        kept = ~np.isin(batch.identifier, np.array(self.gone, np.uint32)) & (not self.is_silent)
        batch = batch.take(kept)
        return replace(batch, identifier=batch.identifier + np.uint32(self.shift))


@contextmanager
def driving(*, shift: int = 0) -> Iterator[tuple[LiveScene, HushedSource]]:
    """A live scene of the shipped bench file, and its bus."""
    frames, polls = van_batches(1)
    by_ns = Clock().now_ns() - int(polls[FROM_S].t_ns[0])
    bus = HushedSource("body", frames, by_ns, is_in=True)
    bus.shift = shift
    scene = LiveScene(*load_plan(BENCH), [bus, PluggedSource("box", polls, by_ns, is_in=True)])
    try:
        yield scene, bus
    finally:
        scene.close()
