"""The trigger log as a file: CSV, or JSON where the name ends in .json.

t_s,t_ns,trigger,decided_ns,keep_from_ns,keep_to_ns,signals
199.1,1768000199100000000,Rear door opens while moving,1768000199100000000,,,rear_door on; speed 12.4 km/h
210.4,1768000210400000000,body asleep,1768000212400000000,,,nothing heard on body since
"""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from pathlib import Path

from busprobe.report.as_json import bus_line_json, dump, seconds, trigger_json
from busprobe.results import Logged, LogLine, TriggerEntry

_COLUMNS = ("t_s", "t_ns", "trigger", "decided_ns", "keep_from_ns", "keep_to_ns", "signals")


def entry_name(entry: Logged) -> str:
    """What was logged: "Reverse selected", "body asleep"."""
    return entry.name if isinstance(entry, TriggerEntry) else f"{entry.name} {entry.kind}"


def triggers_text(path: Path, entries: Sequence[Logged], start_ns: int) -> str:
    """What a file of this name is to hold; times `t_s` count from `start_ns`."""
    is_json = path.suffix.casefold() == ".json"
    return triggers_json(entries, start_ns) if is_json else triggers_csv(entries, start_ns)


def triggers_json(entries: Sequence[Logged], start_ns: int) -> str:
    """Triggers, and apart from them when buses fell asleep and woke, as `verify --json` has them."""
    return dump(
        {
            "start_ns": start_ns,
            "triggers": [trigger_json(entry, start_ns) for entry in entries if isinstance(entry, TriggerEntry)],
            "bus_log": [bus_line_json(entry, start_ns) for entry in entries if isinstance(entry, LogLine)],
        }
    )


def triggers_csv(entries: Sequence[Logged], start_ns: int) -> str:
    """Fields of `triggers_json`, the signals in one field; all lines in one order."""
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\n")
    rows.writerow(_COLUMNS)
    for e in entries:
        if isinstance(e, LogLine):
            rows.writerow((seconds(e.t_ns - start_ns), e.t_ns, entry_name(e), e.decided_ns, None, None, e.text))
            continue
        signals = "; ".join(f"{name} {text}" for name, text in e.signals.items())
        rows.writerow((seconds(e.t_ns - start_ns), e.t_ns, e.name, e.decided_ns, e.keep_from_ns, e.keep_to_ns, signals))
    return out.getvalue()
