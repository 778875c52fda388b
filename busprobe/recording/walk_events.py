"""Results of the guided walk as events of a recording.

`name` is the signal, `text` a JSON object:

    {"role": "door", "outcome": "confirmed", "edges": 6, "bounce": null, "lost": 0, "took_ns": 8120000000,
     "found": "ON while the door is open"}
"""

from __future__ import annotations

import json
from collections.abc import Iterable

from busprobe.results import LogLine, WalkOutcome, WalkResult

WALK = "walk"
"""Kind of these events."""


def walk_event(result: WalkResult) -> LogLine:
    """The event that keeps a result."""
    text = {
        "role": result.role,
        "outcome": result.outcome.value,
        "edges": result.edges,
        "bounce": result.bounce,
        "lost": result.losses,
        "took_ns": result.took_ns,
        "found": result.text,
    }
    return LogLine(result.t_ns, result.t_ns, 0, WALK, result.signal, json.dumps(text, ensure_ascii=False))


def walk_results(events: Iterable[LogLine]) -> tuple[WalkResult, ...]:
    """The results among some events, in the order found; what is none of ours is given as it stands."""
    return tuple(_result(event) for event in events if event.kind == WALK)


def _result(event: LogLine) -> WalkResult:
    try:
        text = json.loads(event.text)
        return WalkResult(
            event.name,
            str(text["role"]),
            WalkOutcome(text["outcome"]),
            int(text["edges"]),
            None if text["bounce"] is None else int(text["bounce"]),
            int(text["lost"]),
            event.t_ns,
            int(text["took_ns"]),
            str(text["found"]),
        )
    except (ValueError, KeyError, TypeError):
        said = " ".join(part for part in (event.name, event.text) if part)
        return WalkResult("", "", WalkOutcome.NOTED, 0, None, 0, event.t_ns, 0, said)
