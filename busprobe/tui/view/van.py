"""Rows of the list of faults of the simulated van."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from busprobe.tui.view.spans import Column, Row, Tone, cell

COLUMNS = (Column("", 5), Column("Fault", 24, grow=1))


def title(trouble: str) -> str:
    """Over the list. trouble: why the van drives no more."""
    return "The simulated van has ended" if trouble else "Faults of the simulated van"


def fault_rows(faults: Sequence[str], faults_set: Collection[str]) -> list[Row]:
    """One row a fault, its name the key."""
    return [Row(name, (cell("● on", Tone.BAD) if name in faults_set else cell("○ off", Tone.DIM), cell(name)))
            for name in faults]  # fmt: skip
