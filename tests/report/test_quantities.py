"""Times and counts as a person reads them."""

import pytest

from busprobe.report.quantities import counted, exact, identifier, moment, percent, rounded, value, wall

EXACT = [
    (0, "0 ms"),
    (150_000_000, "150 ms"),
    (300_001_000, "300.001 ms"),
    (-12_500_000, "-12.5 ms"),
    (-400, "0 ms"),
    (999_999_999, "1 s"),
    (599_999_900_000, "10 min"),
    (1_250_000_000, "1.25 s"),
    (119_999_000_000, "119.999 s"),
    (120_000_000_000, "2 min"),
    (1_770_000_000_000, "29 min 30 s"),
    (3_725_500_000_000, "1 h 2 min 5.5 s"),
    (3_600_000_000_000, "1 h"),
]


@pytest.mark.parametrize(("ns", "text"), EXACT, ids=[row[1] for row in EXACT])
def test_exact(ns: int, text: str) -> None:
    assert exact(ns) == text


ROUNDED = [
    (None, ""),
    (0, "0 ms"),
    (-12_345_000, "-12.3 ms"),
    (250, "0.25 µs"),
    (250_000, "250 µs"),
    (999_600, "1.00 ms"),
    (9_984_000, "9.98 ms"),
    (9_996_000, "10.0 ms"),
    (99_960_000, "100 ms"),
    (999_600_000, "1.00 s"),
    (12_340_000_000, "12.3 s"),
]


@pytest.mark.parametrize(("ns", "text"), ROUNDED, ids=[row[1] or "none" for row in ROUNDED])
def test_rounded(ns: int | None, text: str) -> None:
    assert rounded(ns) == text


def test_the_rest() -> None:
    assert moment(73_412_300_000, 0) == "73.412 s"
    assert moment(-1, 0) == "0.000 s"
    assert wall(1_768_374_000_000_000_000) == "2026-01-14 07:00:00 UTC"
    assert wall(12_000_000_000) is None
    assert [counted(1, "frame"), counted(1234, "frame")] == ["1 frame", "1,234 frames"]
    assert [percent(0.1234), percent(None)] == ["12.3 %", ""]
    assert [identifier(0x5, False), identifier(0x18FEF100, True)] == ["005", "18FEF100"]
    assert [value(13.2), value(60.0), value(-0.0), value("closed loop")] == ["13.2", "60", "0", "closed loop"]
