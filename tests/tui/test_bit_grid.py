"""Bits of a payload drawn as a grid: places of bits, joins along a signal, marks of change."""

from __future__ import annotations

import cantools
import pytest

from busprobe.tui.view.bit_grid import LABELS, Drawn, grid, label_of, part_notes, raw_of
from busprobe.tui.view.spans import Tone, plain

LOW_FIRST = (11, 10, 9, 8, 7, 6, 5, 4, 3, 2, 1, 0)
"""12 bits from bit 0, lowest byte first."""
HIGH_FIRST = (3, 2, 1, 0, 15, 14, 13, 12, 11, 10, 9, 8)
"""12 bits from bit 3, highest byte first."""

HEADING = "         7   6   5   4   3   2   1   0"


@pytest.mark.parametrize(
    ("drawn", "expected"),
    [
        pytest.param(
            [],
            ["  0 4F   0   1   0   0   1   1   1   1",
             "  1 12   0   0   0   1   0   0   1   0"],
            id="no database",
        ),
        pytest.param(
            [Drawn((6,), "a"), Drawn((3, 2), "b")],
            ["  0 4F   0  ▐1a▌ 0   0  ▐1b━━1b▌ 1   1",
             "  1 12   0   0   0   1   0   0   1   0"],
            id="a bit, two bits",
        ),
        pytest.param(
            [Drawn(LOW_FIRST, "a")],
            ["  0 4F  ▐0a━━1a━━0a━━0a━━1a━━1a━━1a━━1a▌",
             "  1 12   0   0   0   1  ▐0a━━0a━━1a━━0a▌"],
            id="two bytes, lowest first",
        ),
        pytest.param(
            [Drawn(HIGH_FIRST, "a")],
            ["  0 4F   0   1   0   0  ▐1a━━1a━━1a━━1a▌",
             "  1 12  ▐0a━━0a━━0a━━1a━━0a━━0a━━1a━━0a▌"],
            id="two bytes, highest first",
        ),
        pytest.param(
            [Drawn((7, 6, 5, 4), "a"), Drawn((3, 2, 1, 0), "b")],
            ["  0 4F  ▐0a━━1a━━0a━━0a▌▐1b━━1b━━1b━━1b▌",
             "  1 12   0   0   0   1   0   0   1   0"],
            id="neighbours are not joined",
        ),
        pytest.param(
            [Drawn((23, 22), "a")],
            ["  0 4F   0   1   0   0   1   1   1   1",
             "  1 12   0   0   0   1   0   0   1   0"],
            id="past the end of the payload",
        ),
    ],
)  # fmt: skip
def test_grid(drawn: list[Drawn], expected: list[str]) -> None:
    lines = [plain(line).rstrip() for line in grid(b"\x4f\x12", drawn)]
    assert lines == [HEADING, *expected]


def test_a_changed_bit_has_the_tone_of_change_in_a_signal_and_out_of_one() -> None:
    (_, line) = grid(b"\x81", [Drawn((7,), "a")], b"\x81")
    assert [span.text for span in line if span.tone is Tone.NOTE] == ["81  ", "1", "1"]


def test_parts_of_a_signal_are_told_in_order_of_weight() -> None:
    assert part_notes((3, 2, 1, 0)) == {}
    assert part_notes(LOW_FIRST) == {1: " 1 of 2, highest", 0: " 2 of 2, lowest"}
    assert part_notes(HIGH_FIRST) == {0: " 1 of 2, highest", 1: " 2 of 2, lowest"}


def test_labels_run_out_into_a_star() -> None:
    assert label_of(0) == "a"
    assert label_of(len(LABELS) - 1) == "Z"
    assert label_of(len(LABELS)) == "*"


@pytest.mark.parametrize(("bits", "start", "order"), [(LOW_FIRST, 0, 1), (HIGH_FIRST, 3, 0)])
def test_raw_is_what_cantools_reads(bits: tuple[int, ...], start: int, order: int) -> None:
    text = f'VERSION ""\nBU_: X\nBO_ 5 M: 2 X\n SG_ S : {start}|12@{order}+ (1,0) [0|0] "" X\n'
    database = cantools.database.load_string(text, "dbc")
    for payload in (b"\x4f\x12", b"\xff\x00", b"\x80\x01", b"\xa5\x5a"):
        assert raw_of(payload, bits) == database.decode_message(5, payload)["S"]


def test_raw_of_a_short_payload_is_none() -> None:
    assert raw_of(b"\xff", LOW_FIRST) is None
