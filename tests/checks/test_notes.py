"""What an occurrence says of itself in words, and at which instant it was decided."""

from __future__ import annotations

import pytest
from stepped import MS, run

WHEN = 'when = "w"\nexpect = "x"\nwithin = "300 ms"\n'
HOLD = WHEN + 'hold = "while when"\n'
NEVER = 'never = "x"\n'
GIVEN = NEVER + 'given = "w"\n'
STEP = "0 F, 1000 T, 2000 F"

NOTES: dict[str, tuple[str, str, str, str, float | None]] = {
    "already so": (WHEN, STEP, "0 T", "", None),
    "already so, where that counts": (WHEN + 'already = "counts"\n', STEP, "0 T", "already so", None),
    "passed": (WHEN, STEP, "0 F, 1200 T", "", None),
    "held": (HOLD, STEP, "0 F, 1200 T", "", None),
    "held so far": (HOLD, "0 F, 1000 T", "0 F, 1200 T", "so far: the data ended", None),
    "cut short": (WHEN, "0 F, 1000 T, 1100 F", "0 F", "", None),
    "the data ended": (WHEN, "0 F, 2900 T", "0 F", "the data ended", None),
    "the data ended in a hold": (WHEN + 'hold = "5 s"\n', STEP, "0 F, 1200 T", "the data ended", None),
    "early": (WHEN + 'not_before = "200 ms"\n', STEP, "0 F, 1100 T", "early", 1100),
    "too late": (WHEN, STEP, "0 F", "not within the time allowed", 1300),
    "did not hold": (HOLD + 'settle = "50 ms"\n', STEP, "0 F, 1200 T, 1500 F", "did not hold", 1500),
    "unknown at the rise": (WHEN, STEP, "0 F, 900 ?, 1200 T", "not seen to become so", 1200),
    "unknown in the window": (WHEN, STEP, "0 F, 1100 ?", "unknown within the time allowed", 1100),
    "unknown in the window, then too late": (
        WHEN, STEP, "0 F, 1100 ?, 1200 F, 1400 T", "unknown within the time allowed", 1100,
    ),
    "unknown in the hold": (HOLD, STEP, "0 F, 1200 T, 1500 ?", "unknown while it had to hold", 1500),
    "violated": (NEVER + 'settle = "50 ms"\n', STEP, "0 F, 1500 T, 1600 F", "", 1500),
    "unknown": (NEVER + 'settle = "50 ms"\n', STEP, "0 F, 1500 ?, 1600 F", "unknown", 1500),
    "never known": (NEVER, STEP, "0 z", "never known", None),
    "all along": (NEVER, STEP, "0 F", "", None),
    "a stretch": (GIVEN, STEP, "0 F", "", None),
    "a stretch in which the bus slept": (GIVEN, STEP, "0 F, 1500 z, 1600 F", "the bus fell asleep", None),
    "a stretch so far": (GIVEN, "0 F, 1000 T", "0 F", "so far: the data ended", None),
    "a stretch so far, in which the bus slept": (GIVEN, "0 F, 1000 T", "0 F, 1500 z", "the bus fell asleep", None),
}  # fmt: skip


@pytest.mark.parametrize("cuts", [(), range(1000, 3000, 50)], ids=["whole", "cut"])
@pytest.mark.parametrize(("check", "w", "x", "note", "at"), NOTES.values(), ids=list(NOTES))
def test_note(check: str, w: str, x: str, note: str, at: float | None, cuts: range) -> None:
    (found,), _ = run({"w": w, "x": x}, f'[[check]]\nname = "c"\n{check}', 3000, cuts_ms=cuts)
    (one,) = found.occurrences
    assert (one.note, one.at_ns) == (note, None if at is None else round(at * MS))
    if note != "not within the time allowed":
        assert (one.came_after_ns, one.never_came) == (None, False)
    assert (one.signals is None) == (one.outcome.value not in {"failed", "undecided"})
