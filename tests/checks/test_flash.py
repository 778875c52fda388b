"""Flashing lamps: published rates measured within 1 %, rates refused, and the edges of every rule in literal cases."""

from __future__ import annotations

import csv
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

import numpy as np
import pytest
from stepped import StepLeaf, run, told

from busprobe.bench import nodes as n
from busprobe.checks.flash import Flash
from busprobe.checks.network import Network
from busprobe.timeline import NEVER, TRUE, UNKNOWN, Changes, Timeline

MS = 1_000_000
END = 20_000 * MS
LEFT_OUT = {
    "UN R65 special warning lamp": "from memory, and a stored summary disagrees",
    "NFPA 1901 optical source minimum": "from memory, the document was not opened",
}
_ALL_ROWS = list(csv.DictReader((Path(__file__).parent / "data" / "flash_rates.csv").open(encoding="utf-8")))
ROWS = [row for row in _ALL_ROWS if row["device"] not in LEFT_OUT]
LAMP = n.Truth("x")


def lamp(per_minute: float, on_per_cent: float, *, poll_ms: int, flashes: int = 12) -> str:
    """A lamp that starts to flash at 2003 ms, as a poll sees it: each edge at the first poll after it."""
    period = 60_000 / per_minute
    points = ["0 F"]
    for i in range(flashes):
        rise = 2003 + i * period
        for at, what in ((rise, "T"), (rise + period * on_per_cent / 100, "F")):
            points.append(f"{-(-at // poll_ms) * poll_ms:g} {what}")
    return ", ".join(points)


def measured(
    node: n.Node, signal: str, *, sampling_ms: float, end_ms: float = 20_000, is_cut: bool = False
) -> Timeline:
    """What a network says; cut: at every change and 1 ns after it."""
    leaf = StepLeaf(signal, quantity=False, sampling_ms=sampling_ms)
    network = Network({"x": leaf})
    index = network.add(node)
    cuts = sorted(cut for t in leaf.t.tolist() for cut in (t, t + 1)) if is_cut else []
    for upto in [*cuts, round(end_ms * MS)]:
        leaf.advance(upto)
        network.advance()
    line = network.timeline(index)
    assert np.all(np.diff(line.t_ns) > 0)
    assert line.value is None or np.array_equal(np.isnan(line.value), line.code != TRUE)
    return line


def flashed(
    kind: str,
    signal: str,
    *,
    told: Mapping[int, int] | None = None,
    quiet: Sequence[int] = (),
    sampling: Callable[[int], int] = lambda _t_ns: 0,
) -> Timeline:
    """What one operator says of a lamp. told: point -> when it is told, ms; quiet: changes of source, ms."""
    leaf = StepLeaf(signal, quantity=False, sampling_ms=0)
    settled = np.array([(told or {}).get(t // MS, NEVER // MS) * MS for t in leaf.t.tolist()], np.int64)
    changes = Changes(leaf.t, leaf.code, None, END, settled if told else None, np.array(quiet, np.int64) * MS)
    flash = Flash(kind, sampling)
    line = Timeline(quantity=flash.is_quantity)
    out = flash.step([changes], END)
    assert (out.value is not None) == flash.is_quantity
    line.extend(out)
    return line


def said(line: Timeline) -> str:
    """ "2000 60 @2500": 60 from 2000 ms on, told at 2500 ms."""
    words = []
    for i, t in enumerate(line.t_ns.tolist()):
        if t < 0:
            continue
        later = "" if line.settled is None or line.settled[i] <= t else f" @{line.settled[i] / MS:.10g}"
        what = "FT?z"[line.code[i]]
        if line.value is not None and line.code[i] == TRUE:
            what = f"{line.value[i]:.6g}"
        words.append(f"{t / MS:.10g} {what}{later}")
    return ", ".join(words)


@pytest.mark.parametrize(
    ("per_minute", "on"), [(60, 30), (120, 75), (75, 50), (125, 50), (61.3, 20), (237, 50), (41, 66)]
)
def test_rate_and_share_within_1_per_cent(per_minute: float, on: float) -> None:
    """Polled every 10 ms; the first two are the worked cases."""
    signal = lamp(per_minute, on, poll_ms=10)
    middle = round((2003 + 8.5 * 60_000 / per_minute) * MS)
    rate = measured(n.FlashRate(LAMP), signal, sampling_ms=10)
    share = measured(n.OnShare(LAMP), signal, sampling_ms=10)
    assert rate.value_at(middle) == pytest.approx(per_minute, rel=0.01)
    assert share.value_at(middle) == pytest.approx(on, abs=1)


def in_range(row: dict[str, str], factor: float) -> str:
    """Verdict on a lamp at the lower and at the upper end of a device's range, times and over a factor."""
    limits = [f"flash_rate(x) >= {row['min_per_min']}"] if row["min_per_min"] else []
    limits += [f"flash_rate(x) <= {row['max_per_min']}"] if row["max_per_min"] else []
    check = f'[[check]]\nname = "c"\nalways = "not flashing(x) or ({" and ".join(limits)})"\n'
    verdicts = set()
    for limit, per_minute in (("min", factor), ("max", 1 / factor)):
        if row[f"{limit}_per_min"]:
            signal = lamp(float(row[f"{limit}_per_min"]) * per_minute, 50, poll_ms=1)
            (result,), _ = run({"x": signal}, check, 12_000, sampling_ms=1)
            verdicts.add(result.verdict.value)
    (verdict,) = verdicts
    return verdict


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["device"])
def test_published_ranges(row: dict[str, str]) -> None:
    """2 % inside either end of a device's range passes, 2 % outside fails; each row names its source."""
    assert row["source"]
    assert (in_range(row, 1.02), in_range(row, 0.98)) == ("pass", "fail")


def test_rows_left_out_are_there() -> None:
    assert set(LEFT_OUT) < {row["device"] for row in _ALL_ROWS}


def test_range_in_hertz_is_the_same_range() -> None:
    for row in ROWS:
        for end in ("min", "max"):
            if row[f"{end}_per_min"]:
                assert float(row[f"{end}_per_min"]) == pytest.approx(60 * float(row[f"{end}_hz"]), rel=1e-3)


@pytest.mark.parametrize(
    ("sampling_ms", "verdict"), [(31, "pass"), (31.25, "pass"), (31.250001, "undecided"), (32, "undecided")]
)
@pytest.mark.parametrize("share", [75, 25], ids=["short pause", "short pulse"])
def test_sampled_too_seldom(sampling_ms: float, verdict: str, share: int) -> None:
    """120 flashes/min: the shortest is 125 ms, so more than 31.25 ms from sample to sample give no rate."""
    on = 500 * share // 100
    signal = "0 F, " + ", ".join(f"{2000 + 500 * i} T, {2000 + 500 * i + on} F" for i in range(10))
    for limits in ("flash_rate(x) >= 119 and flash_rate(x) <= 121", f"on_share(x) == '{share} %'"):
        check = f'[[check]]\nname = "c"\nalways = "not flashing(x) or ({limits})"\n'
        (result,), _ = run({"x": signal}, check, 6000, sampling_ms=sampling_ms)
        assert result.verdict.value == verdict
    rate = measured(n.FlashRate(LAMP), signal, sampling_ms=sampling_ms)
    assert rate.code_at(4100 * MS) == (TRUE if verdict == "pass" else UNKNOWN)


FLASHING = [
    ("from its first flash to one period after its last", "0 F, 2000 T, 2200 F, 2700 T, 2900 F",
     "0 z, 1500 F, 2000 T @2700, 2700 T @4200, 3400 F @4200"),
    ("a single flash", "0 F, 2000 T, 2200 F", "0 z, 1500 F, 2000 F @3500"),
    ("soon after time 0", "0 F, 100 T, 200 F, 700 T, 800 F", "0 z, 100 T @700, 700 T @2200, 1300 F @2200"),
    ("1.5 s apart", "0 F, 2000 T, 2200 F, 3500 T, 3700 F", "0 z, 1500 F, 2000 T @3500, 3500 T @5000, 5000 F"),
    ("further than 1.5 s apart", "0 F, 2000 T, 2200 F, 3500.000001 T, 3700 F",
     "0 z, 1500 F, 2000 F @3500, 3500.000001 F @5000.000001"),
    ("a burst 150 ms apart is two flashes", "0 F, 2000 T, 2050 F, 2150 T, 2200 F",
     "0 z, 1500 F, 2000 T @2150, 2150 T @3650, 2300 F @3650"),
    ("a burst less than 150 ms apart is one", "0 F, 2000 T, 2050 F, 2149.999999 T, 2200 F",
     "0 z, 1500 F, 2000 F @3500"),
    ("a burst goes on from its newest rise", "0 F, 2000 T, 2050 F, 2100 T, 2150 F, 2200 T, 2250 F",
     "0 z, 1500 F, 2000 F @3500"),
    ("on from before: no flash", "0 T, 1800 F, 2000 T, 2200 F", "0 z, 1500 F, 2000 F @3500"),
    ("a flash ends the wait", "0 F, 500 T, 700 F, 1000 T", "0 z, 500 T @1000, 1000 T @2500, 1500 F @2500"),
    ("a flash as the wait ends", "0 F, 1500 T, 1700 F", "0 z, 1500 F @3000"),
    ("lost before it is told, alone", "0 F, 2000 T, 2200 F, 2500 ?, 3000 F",
     "0 z, 1500 F, 2000 ? @2500, 2500 ?, 4500 F"),
    ("lost 1.5 s after its flash", "0 F, 2000 T, 2200 F, 3500 ?", "0 z, 1500 F, 2000 ? @3500, 3500 ?"),
    ("lost later", "0 F, 2000 T, 2200 F, 3500.000001 ?", "0 z, 1500 F, 2000 F @3500, 3500.000001 ?"),
    ("lost within a period", "0 F, 2000 T, 2200 F, 2500 T, 2700 F, 2900 z",
     "0 z, 1500 F, 2000 T @2500, 2500 T @2900, 2900 z"),
    ("lost when the next flash was due", "0 F, 2000 T, 2200 F, 2500 T, 2700 F, 3000 ?",
     "0 z, 1500 F, 2000 T @2500, 2500 T @3000, 3000 ?"),
    ("lost after the next flash was due", "0 F, 2000 T, 2200 F, 2500 T, 2700 F, 3200 ?",
     "0 z, 1500 F, 2000 T @2500, 2500 T @3200, 3000 ? @3200, 3200 ?"),
    ("known again: not told for 1.5 s", "0 F, 2000 ?, 2500 T, 2600 F", "0 z, 1500 F, 2000 ?, 4000 F"),
    ("awake again: not told for 1.5 s", "0 F, 2000 z, 2500 F", "0 z, 1500 F, 2000 z, 4000 F"),
    ("asleep when the next flash was due", "0 F, 2000 T, 2200 F, 2500 T, 2700 F, 3000 z",
     "0 z, 1500 F, 2000 T @2500, 2500 T @3000, 3000 z"),
    ("lost after the next flash was due, other periods before",
     "0 F, 2000 T, 2200 F, 2500 T, 2700 F, 3400 T, 3600 F, 4600 ?",
     "0 z, 1500 F, 2000 T @2500, 2500 T @3400, 3400 T @4600, 4300 ? @4600, 4600 ?"),
    ("off said again", "0 F, 2000 T, 2200 F, 2400 F", "0 z, 1500 F, 2000 F @3500"),
    ("on said again", "0 F, 2000 T, 2300 T, 2500 F", "0 z, 1500 F, 2000 F @3500"),
    ("on for long", "0 F, 2000 T, 5000 F", "0 z, 1500 F, 2000 F @3500"),
    ("lost for long while not told", "0 F, 1000 ?, 3000 F", "0 z, 1000 ?, 4500 F"),
    ("lost while not told", "0 F, 1000 ?, 1200 F", "0 z, 1000 ?, 2700 F"),
    ("rises across a loss are no burst", "0 F, 2000 T, 2010 F, 2020 ?, 2030 F, 2040 T, 2060 F, 2500 T",
     "0 z, 1500 F, 2000 ? @2020, 2020 ?, 2040 T @2500, 2500 T @4000, 2960 F @4000"),
]  # fmt: skip


def holding(text: str) -> str:
    """Without what was said before already."""
    kept: list[str] = []
    for point in text.split(", "):
        what = point.split()[1]
        if not (kept and "@" not in point and kept[-1].split()[1] == what and what in "F?z") and point != "0 z":
            kept.append(point)
    return ", ".join(kept)


@pytest.mark.parametrize(("signal", "expected"), [c[1:] for c in FLASHING], ids=[c[0] for c in FLASHING])
@pytest.mark.parametrize("is_cut", [False, True], ids=["whole", "cut"])
def test_flashing(signal: str, expected: str, is_cut: bool) -> None:
    assert holding(said(measured(n.Flashing(LAMP), signal, sampling_ms=0, is_cut=is_cut))) == holding(expected)


TOLD_LATE = [
    ("at first", "0 F", {0: 1600}, "0 z @1600, 1500 F @1600"),
    ("at first, on", "0 T", {0: 1600}, "0 z @1600, 1500 F @1600"),
    ("the second flash", "0 F, 2000 T, 2200 F, 2700 T, 2900 F", {2700: 3000},
     "1500 F, 2000 T @3000, 2700 T @4200, 3400 F @4200"),
    ("the end of the last flash", "0 F, 2000 T, 2200 F, 2700 T, 2900 F", {2900: 5000},
     "1500 F, 2000 T @2700, 2700 T @5000, 3400 F @5000"),
    ("the end of the only flash", "0 F, 2000 T, 2200 F", {2200: 5000}, "1500 F, 2000 F @5000"),
    ("the loss", "0 F, 2000 T, 2200 F, 2500 ?", {2500: 2600}, "1500 F, 2000 ? @2600"),
    ("no flash", "0 F, 2000 T, 4000 F", {4000: 4100}, "1500 F, 2000 F @3500, 4000 F @4100"),
]  # fmt: skip


@pytest.mark.parametrize(("signal", "told", "expected"), [c[1:] for c in TOLD_LATE], ids=[c[0] for c in TOLD_LATE])
def test_told_later_than_the_lamp(signal: str, told: dict[int, int], expected: str) -> None:
    assert holding(said(flashed("flashing", signal, told=told))) == holding(expected)


def test_a_change_of_source_is_no_flash() -> None:
    line = flashed("flashing", "0 F, 2000 T, 2200 F, 2700 T, 2900 F", quiet=[2700])
    assert holding(said(line)) == "1500 F, 2000 F @3500"


@pytest.mark.parametrize("edge", [2000, 2250, 2500])
def test_one_sample_too_late_spoils_the_periods_that_it_is_in(edge: int) -> None:
    """Sampled every 10 ms but for 70 ms before one edge; the shortest is 250 ms."""
    signal = "0 F, " + ", ".join(f"{2000 + 500 * i} T, {2250 + 500 * i} F" for i in range(8))
    line = flashed("flash_rate", signal, sampling=lambda t: (70 if t == edge * MS else 10) * MS)
    unknown = [t for t in range(2100, 5600, 500) if line.code_at(t * MS) == UNKNOWN]
    assert unknown == list(range(2100, 4600 if edge == 2500 else 4100, 500))


def test_one_short_pulse_spoils_the_periods_that_it_is_in() -> None:
    """Sampled every 10 ms: a pulse of 30 ms is too short."""
    signal = "0 F, 2000 T, 2030 F, " + ", ".join(f"{2500 + 500 * i} T, {2750 + 500 * i} F" for i in range(7))
    line = flashed("flash_rate", signal, sampling=lambda _t: 10 * MS)
    assert [t for t in range(2100, 5600, 500) if line.code_at(t * MS) == UNKNOWN] == [2100, 2600, 3100, 3600]
    assert line.value_at(4100 * MS) == 120.0


def test_a_strobe_before_the_flashes_says_nothing_of_their_rate() -> None:
    """Pulses of 50 ms for 2 s, then of 500 ms: every 30 ms is often enough for these."""
    strobe = "0 F, " + ", ".join(f"{2000 + 100 * i} T, {2050 + 100 * i} F" for i in range(21))
    line = flashed("flash_rate", strobe + ", 5000 T, 5500 F, 6000 T, 6500 F", sampling=lambda _t: 30 * MS)
    assert (line.code_at(5000 * MS), line.value_at(5000 * MS)) == (TRUE, 60.0)


def test_a_fast_strobe_is_one_long_flash() -> None:
    """Ten pulses a second for 2 s and a flash 0.4 s later: the flashes begin more than 1.5 s apart."""
    strobe = "0 F, " + ", ".join(f"{2000 + 100 * i} T, {2050 + 100 * i} F" for i in range(21))
    alone = said(measured(n.Flashing(LAMP), strobe + ", 4400 T, 4500 F", sampling_ms=0))
    assert holding(alone) == "1500 F, 2000 F @3500, 4400 F @5900"


RATES = [
    ("newest four periods",
     "0 F, 2000 T, 2200 F, 3000 T, 3200 F, 4000 T, 4200 F, 5000 T, 5200 F, 6000 T, 6200 F, 6500 T, 6700 F",
     ("1500 0, 2000 60 @3000, 3000 60 @4000, 4000 60 @5000, 5000 60 @6000, "
     "6000 68.5714 @6500, 6500 68.5714 @8000, 7000 0 @8000"),
     ("1500 0, 2000 20 @3000, 3000 20 @4000, 4000 20 @5000, 5000 20 @6000, "
     "6000 22.8571 @6500, 6500 22.8571 @8000, 7000 0 @8000")),
    ("all pulses of a burst count as on", "0 F, 2000 T, 2050 F, 2100 T, 2200 F, 3000 T, 3050 F",
     "1500 0, 2000 60 @3000, 3000 60 @4500, 4000 0 @4500", "1500 0, 2000 15 @3000, 3000 15 @4500, 4000 0 @4500"),
    ("said again", "0 F, 2000 T, 2100 T, 2200 F, 2300 F, 3000 T, 3200 F",
     "1500 0, 2000 60 @3000, 3000 60 @4500, 4000 0 @4500", "1500 0, 2000 20 @3000, 3000 20 @4500, 4000 0 @4500"),
    ("a single flash", "0 F, 2000 T, 2200 F", "1500 0, 2000 0 @3500", "1500 0, 2000 0 @3500"),
    ("on for long", "0 F, 2000 T, 5000 F", "1500 0, 2000 0 @3500", "1500 0, 2000 0 @3500"),
    ("a new stretch forgets the old", "0 F, 2000 T, 2100 F, 2500 T, 2600 F, 6000 T, 6500 F, 7000 T",
     "1500 0, 2000 120 @2500, 2500 120 @4000, 3000 0 @4000, 6000 60 @7000, 7000 60 @8500, 8000 0 @8500",
     "1500 0, 2000 20 @2500, 2500 20 @4000, 3000 0 @4000, 6000 50 @7000, 7000 50 @8500, 8000 0 @8500"),
]  # fmt: skip


@pytest.mark.parametrize(("signal", "rate", "share"), [c[1:] for c in RATES], ids=[c[0] for c in RATES])
def test_rate_and_share(signal: str, rate: str, share: str) -> None:
    for node, expected in ((n.FlashRate(LAMP), rate), (n.OnShare(LAMP), share)):
        found = said(measured(node, signal, sampling_ms=0)).split(", ")
        changed = [
            p
            for i, p in enumerate(found)
            if not (i and p.split()[1] == found[i - 1].split()[1] == "0" and "@" not in p)
        ]
        assert [p for p in changed if not p.endswith("z")] == expected.split(", ")


@pytest.mark.parametrize("on", [40, 60], ids=["short pulses", "short pause"])
def test_shortest_of_all_pulses_and_pauses_counts(on: int) -> None:
    """Two pulses with 40 ms in or between them: sampled every 10 ms there is a rate, every 11 ms there is none."""
    signal = "0 F, " + ", ".join(
        f"{2000 + 1000 * i} T, {2000 + on + 1000 * i} F, {2100 + 1000 * i} T, {2100 + on + 1000 * i} F"
        for i in range(5)
    )
    for sampling, known in ((10, True), (10.000001, False)):
        line = measured(n.FlashRate(LAMP), signal, sampling_ms=sampling)
        assert (line.code_at(4500 * MS) == TRUE) is known


def test_steady_on_and_off() -> None:
    """On or off and not flashing, told when it is told that the lamp does not flash."""
    signals = {"x": "0 F, 4000 T, 8000 F, 12000 T, 12200 F, 12700 T, 12900 F"}
    (on,), _ = run(signals, '[[check]]\nname = "c"\nnever = "steady_on(x)"\n', 17_000)
    (off,), _ = run(signals, '[[check]]\nname = "c"\nnever = "steady_off(x)"\n', 17_000)
    assert told(on) == ["4000 failed for 4000 @5500"]
    assert told(off) == [
        "1500 failed for 2500 @1500", "8000 failed for 4000 @8000", "13400 failed for 3600 @14200",
    ]  # fmt: skip
