"""The bench file and databases that a recording holds, for opening it without any other file."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from busprobe.bench.load import load
from busprobe.decode.layout import Database
from busprobe.engine.plan import Plan
from busprobe.session.verifying import plan_of


def enclosed_plan(texts: Mapping[str, str]) -> tuple[Plan, Mapping[str, list[Database]]] | None:
    """The plan in a recording's `bench` texts (name -> text); None where it holds no bench file.

    Raises BusprobeError where what it holds cannot be used.
    """
    name = next((n for n in texts if n.endswith(".toml")), None)
    if name is None:
        return None
    with tempfile.TemporaryDirectory(prefix="busprobe-") as folder:
        for other, text in texts.items():
            Path(folder, Path(other).name).write_text(text, encoding="utf-8")
        bench = load(Path(folder, Path(name).name))
        # Wherever the databases lay, they are beside the bench file now.
        beside = [replace(bus, databases=tuple(Path(folder, p.name) for p in bus.databases)) for bus in bench.buses]
        return plan_of(replace(bench, buses=tuple(beside)))
