"""One age has one form, whichever screen shows it."""

from __future__ import annotations

import dataclasses

import fake_van
import pytest

from busprobe.session.ages import age_text
from busprobe.tui.view.signals import COLUMNS
from busprobe.tui.view.spans import fit, plain, share
from busprobe.tui.view.values import fresh_cell

MS, S = 1_000_000, 1_000_000_000


@pytest.mark.parametrize(
    ("ns", "text"),
    [
        (-1, "0 ms"), (0, "0 ms"), (79_600_000, "80 ms"), (999 * MS, "999 ms"), (999_600_000, "1.0 s"),
        (1949 * MS, "1.9 s"), (45_300 * MS, "45.3 s"), (59_940 * MS, "59.9 s"), (59_960 * MS, "1 min"),
        (227_102 * MS, "3 min"), (3599 * S, "59 min"), (3600 * S, "1 h"), (27 * 3600 * S, "27 h"),
    ],
)  # fmt: skip
def test_ages(ns: int, text: str) -> None:
    assert age_text(ns) == text


@pytest.mark.parametrize("width", [78, 118])
@pytest.mark.parametrize("age_ns", [40 * MS, 450 * MS, 2 * S, 59_900 * MS, 185 * S, 3599 * S, 99 * 3600 * S])
def test_the_column_of_ages_is_never_cut(age_ns: int, width: int) -> None:
    signal = dataclasses.replace(fake_van.SIGNALS[0], age_ns=age_ns, max_age_ns=30 * MS)
    widths = {COLUMNS[place].title: room for place, room in share(COLUMNS, width)}
    assert {"Signal", "  Value", "Since", "Fresh", "Edges", "History"} <= widths.keys()
    for limit in (30 * MS, None):
        said = fresh_cell(dataclasses.replace(signal, max_age_ns=limit))
        shown = plain(fit(said, widths["Fresh"], "right")).strip()
        assert shown == plain(said)
        assert shown.removeprefix("old ") == (
            "<0.1 s" if age_ns < 100 * MS else age_text(age_ns // (100 * MS) * 100 * MS)
        )
