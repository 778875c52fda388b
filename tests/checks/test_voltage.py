"""Battery voltage against published limits: data/voltages.csv, each row with its source."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from stepped import run

ROWS = list(csv.DictReader((Path(__file__).parent / "data" / "voltages.csv").open(encoding="utf-8")))
REST = [r for r in ROWS if "at rest" in r["quantity"]]
LEAST = [r for r in ROWS if r["quantity"].endswith("min")]
(WINDOW,) = (r for r in ROWS if "window" in r["quantity"])
(REGULATED,) = (r for r in ROWS if "regulated" in r["quantity"])


def verdict(volts: float, check: str) -> str:
    """Of a check that looks at a battery from 1 s to 5 s, after it stood at 14 V."""
    signals = {"v": f"0 14.0, 1000 {volts}", "g": "0 F, 2000 T, 4000 F"}
    (result,), _ = run(signals, f'[[check]]\nname = "c"\n{check}', 5000)
    return result.verdict.value


def test_every_row_is_used() -> None:
    assert len(ROWS) == len(REST) + len(LEAST) + 2
    assert all(row["source"] for row in ROWS)


@pytest.mark.parametrize("row", REST, ids=lambda row: row["quantity"])
def test_low_battery_below_half_charge(row: dict[str, str]) -> None:
    """A warning below the resting voltage of half charge: at exactly that voltage there is none."""
    half = next(r["value"] for r in REST if "50 %" in r["quantity"])
    is_low = float(row["value"]) < float(half)
    assert is_low == any(share in row["quantity"] for share in (" 25 %", " 0 %"))
    assert verdict(float(row["value"]), f"never = \"v < '{half} V'\"\n") == ("fail" if is_low else "pass")


@pytest.mark.parametrize("row", LEAST, ids=lambda row: row["quantity"])
def test_not_below_the_least(row: dict[str, str]) -> None:
    """The least value itself passes, 1 mV below it fails; written in mV it is the same."""
    least = float(row["value"])
    for limit in (f"{least} V", f"{least * 1000:.0f} mV"):
        check = f'always = "v >= \'{limit}\'"\ngiven = "g"\n'
        assert (verdict(least, check), verdict(round(least - 0.001, 3), check)) == ("pass", "fail")


def test_charging_window() -> None:
    """13 V to 14.5 V, both ends taken in; a regulated test voltage lies inside."""
    low, high = (float(v) for v in WINDOW["value"].split(".."))
    check = f"always = \"'{low} V' <= v <= '{high} V'\"\ngiven = \"g\"\n"
    inside = [low, high, float(REGULATED["value"])]
    assert [verdict(v, check) for v in [*inside, low - 0.001, high + 0.001]] == ["pass"] * 3 + ["fail"] * 2
