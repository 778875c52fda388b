"""Where a signal comes from: labels, units, codes that say nothing, several sources, pages of a message."""

from __future__ import annotations

from dataclasses import replace

import pytest
from drive import (
    DATABASE,
    HEAD,
    SIGNALS,
    check,
    evaluate,
    frames,
    gear,
    in_order,
    kmh,
    pid_0d,
    polls,
    run,
    sent,
    told,
    trigger,
    triggered,
)  # fmt: skip

from busprobe.bench.load import loads
from busprobe.decode.layout import Database
from busprobe.engine.plan import build
from busprobe.errors import BenchError
from busprobe.frames import Batch


def with_signals(text: str, rest: str = "") -> str:
    """A bench file with these signals instead."""
    return f'{HEAD}\n[obd]\nbus = "body"\npoll = ["0D"]\nevery = "500 ms"\n[signals]\n{text}\n{rest}'


def said(signals: str, on: str, end: float, *data: Batch) -> list[str]:
    """Each trigger of `on` with what the signals said: "1000 gear R"."""
    results = evaluate(trigger(on), end, *data, head=with_signals(signals))
    return [f"{e.t_ns // 1_000_000} " + ", ".join(f"{k} {v}" for k, v in e.signals.items()) for e in results.triggers]


# Labels.


def test_labels_under_the_names_of_the_bench_file() -> None:
    results = evaluate(trigger("rises(gear == 'R')") + trigger("rises(gear == 'N')", "n"), 3000,
                       frames(gear("0 P, 1000 R, 2000 N", 3000)))  # fmt: skip
    assert [(e.t_ns // 1_000_000, dict(e.signals)) for e in results.triggers] == [
        (1000, {"gear": "R"}), (2000, {"gear": "N"}),
    ]  # fmt: skip


def test_labels_of_the_database_where_the_bench_file_gives_none() -> None:
    signals = 'gear = { from = "body.Transmission.SelectedGear" }'
    assert said(signals, "rises(gear == 'Reverse')", 3000, frames(gear("0 P, 1000 R", 3000))) == ["1000 gear Reverse"]


def test_some_labels_renamed_the_others_kept() -> None:
    signals = 'gear = { from = "body.Transmission.SelectedGear", values = { Reverse = "R" } }'
    drive = frames(gear("0 P, 1000 R, 2000 D", 3000))
    assert said(signals, "changes(gear)", 3000, drive) == ["1000 gear R", "2000 gear Drive"]


def test_a_value_that_the_database_names_not_available_is_unknown() -> None:
    """Neither true nor an edge, before and after."""
    rest = check("never = \"gear == 'R'\"") + trigger("changes(gear)")
    results = evaluate(rest, 3000, frames(gear("0 P, 1000 ?, 1500 R, 2000 ?, 2500 R", 3000)))
    assert triggered(results) == []
    assert told(results.checks[0]) == [
        "1000 undecided for 500 @1000", "1500 failed for 500 @1500", "2000 undecided for 500 @2000",
        "2500 failed for 500 @2500",
    ]  # fmt: skip
    assert dict(results.checks[0].occurrences[0].signals or {}) == {"gear": "unknown (not available)"}


def test_raw_values_that_the_bench_file_calls_unknown() -> None:
    signals = 'outside = { from = "body.Dash.OutsideTemperature", unit = "degC", unknown = [255, 254] }'
    rows = sent(304, "0 0032, 1000 00FE, 2000 00FF, 3000 0050", 4000, {})
    results = evaluate(check("always = \"outside < '45 degC'\""), 4000, frames(rows), head=with_signals(signals))
    assert told(results.checks[0]) == ["1000 undecided for 2000 @1000"]


# Units.


def test_mph_of_the_bus_as_kmh() -> None:
    """0.5 mph a bit; the international mile is 1609.344 m: 62 mph = 99.779 km/h, 62.5 mph = 100.584 km/h.

    A bit is 0.8 km/h: it is said to a tenth.
    """
    signals = 'speed = { from = "body.Dash.ShownSpeed", unit = "km/h" }'
    rows = sent(304, "0 7B00, 1000 7C00, 2000 7D00", 3000, {})
    assert said(signals, "rises(speed > '100 km/h')", 3000, frames(rows)) == ["2000 speed 100.6 km/h"]
    assert said(signals, "rises(speed >= '62 mph')", 3000, frames(rows)) == ["1000 speed 99.8 km/h"]


def test_degrees_fahrenheit_have_an_offset() -> None:
    """0 degC = 32 degF, 100 degC = 212 degF by definition."""
    signals = 'outside = { from = "body.Dash.OutsideTemperature", unit = "degF" }'
    rows = sent(304, "0 0027, 1000 0028, 2000 008C", 3000, {})
    found = said(signals, "changes(outside)", 3000, frames(rows))
    assert found == ["1000 outside 32.0 degF", "2000 outside 212.0 degF"]


def test_a_unit_that_does_not_fit() -> None:
    signals = 'speed = { from = "body.Wheels.Speed", unit = "V" }'
    with pytest.raises(BenchError) as caught:
        evaluate("", 1000, frames([]), head=with_signals(signals))
    assert caught.value.message == 'Signal "speed": "km/h" cannot be turned into "V".'


# Several sources.

TWO_SPEEDS = 'speed = { from = ["body.Wheels.Speed", "obd.0D"], unit = "km/h" }'


def test_the_first_source_known_counts() -> None:
    """Until the wheels are heard, and when they are lost, the speed is that of the answers."""
    wheels = kmh("0 -, 1000 40, 3050 -, 6000 41", 8000)
    answers = pid_0d([(t, 20) for t in range(500, 8000, 500)])
    always = check("always = \"speed == '20 km/h' or speed >= '40 km/h'\"") + trigger("rises(speed > '30 km/h')")
    results = evaluate(always, 7900, frames(in_order(wheels, answers)), head=with_signals(TWO_SPEEDS))
    assert told(results.checks[0]) == ["500 passed for 7400 @7900"]
    assert triggered(results) == []


def test_a_change_of_source_is_no_edge() -> None:
    """Neither way, though the value jumps; the same jump within one source is one."""
    wheels = kmh("0 40, 2950 -, 6000 41, 7000 20, 7500 40", 8000)
    answers = pid_0d([(t, 20) for t in range(500, 8000, 500)])
    rest = trigger("rises(speed > '30 km/h')", "up") + trigger("falls(speed > '30 km/h')", "down")
    results = evaluate(rest, 7900, frames(in_order(wheels, answers)), head=with_signals(TWO_SPEEDS))
    assert triggered(results) == ["7000 down", "7500 up"]


def test_start_not_seen_at_a_change_of_source() -> None:
    """What is true because another source took over opens no occurrence."""
    wheels = kmh("0 40, 2950 -, 6000 41", 8000)
    answers = pid_0d([(t, 20) for t in range(500, 8000, 500)])
    rest = check('when = "speed > \'30 km/h\'"\nexpect = "lamp"\nwithin = "300 ms"')
    signals = TWO_SPEEDS + '\nlamp = { from = "box.lamp_wire" }'
    results = evaluate(rest, 7900, frames(in_order(wheels, answers)), polls("", 7900), head=with_signals(signals))
    assert told(results.checks[0]) == []
    assert results.checks[0].start_not_seen == 2


def test_labels_tie_the_codes_of_two_sources() -> None:
    """One database counts from Park, the other from Drive; "R" is "R" in both."""
    values = 'values = { Park = "P", Reverse = "R", Neutral = "N", Drive = "D" }'
    signals = f'gear = {{ from = ["body.Transmission.SelectedGear", "body.Selector.Position"], {values} }}'
    first = gear("0 P, 1000 R, 1500 -", 4000)
    second = sent(352, "0 03, 1000 02, 2500 00", 4000, {})
    drive = frames(in_order(first, second))
    assert said(signals, "changes(gear)", 4000, drive) == ["1000 gear R", "2500 gear D"]
    results = evaluate(check("never = \"gear == 'N'\""), 4000, drive, head=with_signals(signals))
    assert results.checks[0].verdict.value == "pass"


def test_a_code_without_a_label_is_not_taken_for_one_of_the_first_source() -> None:
    """1 is "Reverse" of the first source; the second one, which says it, has no name for it."""
    signals = 'gear = { from = ["body.Transmission.SelectedGear", "body.Lever.Place"] }'
    drive = frames(sent(368, "0 00, 1000 01, 2000 04", 3000, {}))
    assert said(signals, "rises(gear == 'Reverse')", 3000, drive) == ["2000 gear Reverse"]
    assert said(signals, "falls(gear == 'Park')", 3000, drive) == ["1000 gear 1"]


# Pages of a multiplexed message.

PAGES = 'water = { from = "body.Tanks.WaterLevel" }\nsalt = { from = "body.Tanks.SaltLevel" }'


def test_a_page_leaves_the_others_as_they_were() -> None:
    rows = [(100.0 * i, 336, f"{i % 2:02X}{(50 if i < 30 else 10) if i % 2 == 0 else 80:02X}") for i in range(60)]
    rest = trigger("falls(water > '20 %')") + check("always = \"salt == '80 %'\"")
    results = evaluate(rest, 5950, frames(rows), head=with_signals(PAGES))
    assert triggered(results) == ["3000 t"]
    assert results.checks[0].verdict.value == "pass"


def test_each_page_learns_from_its_own_samples() -> None:
    """Water every 200 ms for 6 s and then no more: known for 3 x 200 ms after its last, though the message goes on."""
    rows = [(100.0 * i, 336, f"{i % 2 if i < 60 else 1:02X}32") for i in range(80)]
    results = evaluate(check('always = "known(water)"'), 7950, frames(rows), head=with_signals(PAGES))
    assert told(results.checks[0]) == ["6400.000001 failed for 1549.999999 @6500"]


def test_two_databases_may_describe_one_identifier() -> None:
    """Signals of one identifier that stand in two databases under two message names both count."""
    doors = DATABASE.message("Doors")
    assert doors is not None
    second = Database(DATABASE.path, (replace(doors, name="OwnFindings", identifier=256),))
    signals = SIGNALS.replace("body.Doors.Rear", "body.OwnFindings.Rear")
    bench = loads(HEAD + signals + trigger("changes(rear_door)") + trigger("changes(gear)", "g"))
    given = build(bench, {"body": [DATABASE, second]})
    batch = frames([(100.0 * i, 256, "00" if i < 10 else "01") for i in range(20)])
    assert triggered(run(given, [("frames", batch)])) == ["1000 t", "1000 g"]
