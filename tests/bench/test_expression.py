"""Expressions: what they are bound to, and every way to get one wrong."""

from pathlib import Path

import pytest

from busprobe.bench.expression import bind, bind_levels, bind_quantity, is_event, names_of, parse
from busprobe.bench.model import Origin, SignalType, Text
from busprobe.bench.nodes import (
    Age,
    Among,
    And,
    Arithmetic,
    Compare,
    Constant,
    Edge,
    Flashing,
    FlashRate,
    Held,
    InStep,
    Known,
    Not,
    Number,
    OnShare,
    Or,
    Quantity,
    Steady,
    Truth,
)
from busprobe.errors import BenchError

SWITCH = SignalType(is_condition=True)
TYPES = {
    "gear": SignalType(labels={"P": (0.0,), "R": (1.0,), "N": (2.0,), "D": (3.0, 4.0)}),
    "wiper": SignalType(labels={"Off": (0.0,), "On": (1.0,)}),
    "speed": SignalType(unit="km/h"),
    "gps_speed": SignalType(unit="mph"),
    "outside": SignalType(unit="degC"),
    "cabin": SignalType(unit="degF"),
    "battery": SignalType(unit="V", labels={"invalid": (255.0,)}),
    "shunt": SignalType(unit="mV"),
    "counter": SignalType(),
    "brake": SignalType(two_bit=True),
    "door": SWITCH,
    "strip": SWITCH,
    "lamp": SWITCH,
}


def bound(text, types=TYPES):
    return bind(parse(Text(text)), types)


IS_R = Among("gear", (1.0,), "R")
SPEED = Quantity("speed")
GPS_IN_KMH = Arithmetic("*", Quantity("gps_speed"), Number(1.609344))

MEANINGS = {
    "door": Truth("door"),
    "brake": Truth("brake", two_bit=True),
    "counter": Truth("counter"),
    "wiper": Truth("wiper"),
    "not door": Not(Truth("door")),
    "True": Constant(True),
    "door and lamp and strip": And((Truth("door"), Truth("lamp"), Truth("strip"))),
    "door or not (lamp and strip)": Or((Truth("door"), Not(And((Truth("lamp"), Truth("strip")))))),
    "gear == 'R'": IS_R,
    "'R' == gear": IS_R,
    "gear != 'R'": Not(IS_R),
    "gear == 'D'": Among("gear", (3.0, 4.0), "D"),
    "gear in ('P', 'D')": Among("gear", (0.0, 3.0, 4.0), "P, D"),
    "gear in ['R']": IS_R,
    "gear in ('R')": IS_R,
    "gear not in ('R',)": Not(IS_R),
    "gear == 2": Compare("==", Quantity("gear"), Number(2.0)),
    'speed > "5 km/h"': Compare(">", SPEED, Number(5.0)),
    "speed > '5 mph'": Compare(">", SPEED, Number(8.04672)),
    "'5 kph' < speed": Compare("<", Number(5.0), SPEED),
    "'5 km/h' < speed <= '30 km/h'": And((Compare("<", Number(5.0), SPEED), Compare("<=", SPEED, Number(30.0)))),
    "speed - gps_speed > '2 km/h'": Compare(">", Arithmetic("-", SPEED, GPS_IN_KMH), Number(2.0)),
    "speed == gps_speed": Compare("==", SPEED, GPS_IN_KMH),
    "'1 km/h' + speed > '2 mph'": Compare(">", Arithmetic("+", Number(1.0), SPEED), Number(3.218688)),
    "speed / gps_speed > 1.5": Compare(">", Arithmetic("/", SPEED, GPS_IN_KMH), Number(1.5)),
    "2 * speed < '9 km/h'": Compare("<", Arithmetic("*", Number(2.0), SPEED), Number(9.0)),
    "speed / 2 < '9 km/h'": Compare("<", Arithmetic("/", SPEED, Number(2.0)), Number(9.0)),
    "-speed < '9 km/h'": Compare("<", Arithmetic("*", Number(-1.0), SPEED), Number(9.0)),
    "outside < '-5.5 degC'": Compare("<", Quantity("outside"), Number(-5.5)),
    "outside < '23 degF'": Compare("<", Quantity("outside"), Number(-5.0)),
    "outside < -'5.5 degC'": Compare("<", Quantity("outside"), Number(-5.5)),
    "outside - '5 degC' > '0 degC'": Compare(">", Arithmetic("-", Quantity("outside"), Number(5.0)), Number(0.0)),
    "counter > 2 * 3 - 1 / 2": Compare(">", Quantity("counter"), Number(5.5)),
    "counter > +0.1 + 0.2": Compare(">", Quantity("counter"), Number(0.3)),
    "counter != -4": Compare("!=", Quantity("counter"), Number(-4.0)),
    "battery == 'invalid'": Among("battery", (255.0,), "invalid"),
    "battery == '12 V'": Compare("==", Quantity("battery"), Number(12.0)),
    "battery < '11800 mV'": Compare("<", Quantity("battery"), Number(11.8)),
    "shunt > battery": Compare(">", Quantity("shunt"), Arithmetic("*", Quantity("battery"), Number(1000.0))),
    "rises(gear == 'R')": Edge("rises", IS_R),
    "falls(brake)": Edge("falls", Truth("brake", two_bit=True)),
    "changes(gear)": Edge("changes", Quantity("gear")),
    "changes(door)": Edge("changes", Truth("door")),
    "changes(brake)": Edge("changes", Truth("brake", two_bit=True)),
    "changes(speed > '5 km/h')": Edge("changes", Compare(">", SPEED, Number(5.0))),
    "known(speed)": Known(SPEED),
    "known(door)": Known(Truth("door")),
    "known(door and lamp)": Known(And((Truth("door"), Truth("lamp")))),
    'held(door, "200 ms")': Held(Truth("door"), 200_000_000),
    "age(speed) > '2 s'": Age("speed", ">", 2_000_000_000),
    "'2 s' > age(speed)": Age("speed", "<", 2_000_000_000),
    "flashing(lamp)": Flashing(Truth("lamp")),
    "flash_rate(lamp) >= 60": Compare(">=", FlashRate(Truth("lamp")), Number(60.0)),
    "60 <= flash_rate(lamp) <= 2 * 60": And(
        (
            Compare("<=", Number(60.0), FlashRate(Truth("lamp"))),
            Compare("<=", FlashRate(Truth("lamp")), Number(120.0)),
        )
    ),
    "on_share(lamp) > '30 %'": Compare(">", OnShare(Truth("lamp")), Number(30.0)),
    "steady_on(lamp) or steady_off(lamp)": Or((Steady(Truth("lamp"), True), Steady(Truth("lamp"), False))),
    "in_step(lamp, not strip, '30 ms')": InStep(Truth("lamp"), Not(Truth("strip")), 30_000_000),
    "rises(door) and speed > '5 km/h'": And((Edge("rises", Truth("door")), Compare(">", SPEED, Number(5.0)))),
    "rises(door) or falls(lamp) and brake": Or(
        (Edge("rises", Truth("door")), And((Edge("falls", Truth("lamp")), Truth("brake", True))))
    ),
    "not rises(door) or lamp": Or((Not(Edge("rises", Truth("door"))), Truth("lamp"))),
    " \n door\n  and lamp ": And((Truth("door"), Truth("lamp"))),
    "(door)": Truth("door"),
}


@pytest.mark.parametrize(("text", "node"), MEANINGS.items(), ids=list(MEANINGS))
def test_meaning(text, node):
    assert bound(text) == node


def test_five_miles_an_hour_first_hold_at_nine_of_a_whole_kilometre_signal():
    limit = bound("speed > '5 mph'").right.value
    assert next(speed for speed in range(12) if speed > limit) == 9


ALLOWED = (
    "Allowed: signal names, comparisons, and, or, not, + - * /, texts, numbers, rises, falls, changes, held, age, "
    "known, flashing, flash_rate, on_share, steady_on, steady_off, in_step."
)
GEARS = 'Named values of "gear": "P", "R", "N", "D".'

FAULTS = {
    # what can be read at all
    "": (1, "The expression is empty."),
    " \n ": (1, "The expression is empty."),
    "door and": (9, "The expression ends too early."),
    "door and (lamp": (10, '"(" is never closed.'),
    "gear == 'R": (9, 'The expression makes no sense at "\'R".'),
    "door lamp": (6, 'The expression makes no sense at "lamp".'),
    "door AND lamp": (
        6,
        'The expression makes no sense at "AND lamp".\nand, or, not are written in small letters.',
    ),
    "gear == 'R' Or lamp": (
        13,
        'The expression makes no sense at "Or lamp".\nand, or, not are written in small letters.',
    ),
    "NOT(door)": (1, 'Unknown function "NOT".\nand, or, not are written in small letters.'),
    "speed > 20 mph": (
        12,
        "The expression makes no sense at \"mph\".\nA quantity stands in single quotes: '20 mph'.",
    ),
    "speed > 5.5 km/h and door": (
        13,
        "The expression makes no sense at \"km/h and door\".\nA quantity stands in single quotes: '5.5 km/h'.",
    ),
    "on_share(lamp) > 30 %": (
        22,
        "The expression ends too early.\nA quantity stands in single quotes: '30 %'.",
    ),
    "gear = 'R'": (6, '"=" compares nothing: write "==".'),
    "door && lamp": (6, '"&&" is not allowed: write "and".'),
    "door || lamp": (6, '"||" is not allowed: write "or".'),
    "!door": (1, '"!" is not allowed: write "not".'),
    "door <> lamp": (6, '"<>" is not allowed: write "!=".'),
    "door & lamp": (1, f'"&" is not allowed: write "and".\n{ALLOWED}'),
    "door | lamp": (1, f'"|" is not allowed: write "or".\n{ALLOWED}'),
    "~door": (1, '"~" is not allowed: write "not".'),
    "door is lamp": (1, '"is" in "door is lamp" compares nothing here: write "==".'),
    "counter % 2 == 1": (1, f'The operator of "counter % 2" is not allowed.\n{ALLOWED}'),
    "door # and not lamp": (6, '"# and not lamp" is not read: an expression holds no comment.'),
    "door \\ lamp": (6, '"\\" is not allowed in an expression.'),
    "door\0": (1, "The expression cannot be read."),
    # what the grammar leaves out
    "body.Brake.Pedal": (
        1,
        '"body.Brake.Pedal" is not allowed in an expression.\nGive it a name under [signals] and write that name.',
    ),
    "gear[0]": (1, f'"gear[0]" is not allowed in an expression.\n{ALLOWED}'),
    "lambda: door": (1, f'"lambda: door" is not allowed in an expression.\n{ALLOWED}'),
    "door if lamp else strip": (1, f'"door if lamp else strip" is not allowed in an expression.\n{ALLOWED}'),
    "[x for x in door]": (1, f'"[x for x in door]" is not allowed in an expression.\n{ALLOWED}'),
    "(x := door)": (2, f'"x := door" is not allowed in an expression.\n{ALLOWED}'),
    "f'{door}'": (1, f"\"f'{{door}}'\" is not allowed in an expression.\n{ALLOWED}"),
    "gear == b'R'": (9, f"\"b'R'\" is not allowed in an expression.\n{ALLOWED}"),
    "door == None": (9, f'"None" is not allowed in an expression.\n{ALLOWED}'),
    "counter > 1j": (11, f'"1j" is not allowed in an expression.\n{ALLOWED}'),
    "{door}": (1, f'"{{door}}" is not allowed in an expression.\n{ALLOWED}'),
    # functions
    "rise(door)": (1, 'Unknown function "rise". Nearest known name: "rises".'),
    "door and open('x')": (10, 'Unknown function "open".'),
    "body.rises(door)": (1, 'Unknown function "body.rises". Nearest known name: "rises".'),
    "held(door)": (1, '"held(door)" is not how held is written: "held(x, \'200 ms\')".'),
    "rises(x=door)": (1, '"rises(x=door)" is not how rises is written: "rises(x)".'),
    "rises(*door)": (1, '"rises(*door)" is not how rises is written: "rises(x)".'),
    "held(door, 200)": (12, "\"200\" is no duration: write it in quotes, as in held(x, '200 ms')."),
    "held(door, '200')": (
        12,
        "\"200\" is no duration: write it like '300 ms', '2 s', '31 min' or '1.5 h'.",
    ),
    "held(rises(door), '2 s')": (6, '"rises(door)" is an event; held needs a condition that lasts.'),
    "flashing(changes(gear))": (10, '"changes(gear)" is an event; flashing needs a condition that lasts.'),
    "flash_rate(rises(door)) > 60": (12, '"rises(door)" is an event; flash_rate needs a condition that lasts.'),
    "rises(falls(door))": (7, '"falls(door)" is an event; rises needs a condition that lasts.'),
    "known(rises(door))": (7, '"rises(door)" is an event; known needs a condition that lasts.'),
    "in_step(lamp, rises(door), '30 ms')": (15, '"rises(door)" is an event; in_step needs a condition that lasts.'),
    "rises(door) or lamp": (
        1,
        'An event, "rises(door)", cannot be joined by "or" with a lasting condition, "lamp".',
    ),
    "lamp or strip and rises(door)": (
        9,
        'An event, "strip and rises(door)", cannot be joined by "or" with a lasting condition, "lamp".',
    ),
    # names
    "spede > '5 km/h'": (1, 'Unknown signal "spede". Nearest known name: "speed".'),
    "door and rises(spede)": (16, 'Unknown signal "spede". Nearest known name: "speed".'),
    "qqq": (1, 'Unknown signal "qqq".'),
    "rises": (1, 'Unknown signal "rises".'),
    # conditions and numbers
    "speed": (1, "\"speed\" is in km/h: compare it with a value, such as speed > '5 km/h'."),
    "rises(speed)": (7, "\"speed\" is in km/h: compare it with a value, such as speed > '5 km/h'."),
    "gear": (1, "\"gear\" has 4 named values: compare it with one, such as gear == 'P'."),
    "speed + '1 km/h'": (1, "\"speed + '1 km/h'\" is not a condition: compare it with a value."),
    "flash_rate(lamp)": (1, '"flash_rate(lamp)" is not a condition: compare it with a value.'),
    "5": (1, '"5" is not a condition: compare it with a value.'),
    "door and ('P', 'R')": (10, "\"('P', 'R')\" is not a condition: compare it with a value."),
    "(door and lamp) > 3": (2, '"door and lamp" is a condition, not a number.'),
    "rises(door) == 1": (1, '"rises(door)" is a condition, not a number.'),
    "counter == True": (12, '"True" is no number: write the condition alone, or "not" before it.'),
    "door == 1": (1, '"door" is on or off and has no value: write door or not door.'),
    "door == 'on'": (1, '"door" is on or off and has no value: write door or not door.'),
    "door in ('on',)": (1, '"door" is on or off and has no value: write door or not door.'),
    "1 < 2": (5, '"1" and "2" are both constants: a signal is missing.'),
    # named values
    "gear == 'Q'": (9, f'"gear" has no value named "Q".\n{GEARS}'),
    "wiper == 'on'": (
        10,
        '"wiper" has no value named "on". Nearest known name: "On".\nNamed values of "wiper": "Off", "On".',
    ),
    "gear == '5 km/h'": (9, f'"gear" has no value named "5 km/h".\n{GEARS}'),
    "gear in ('P', 'Q')": (15, f'"gear" has no value named "Q".\n{GEARS}'),
    "gear in ('P', 2)": (15, "\"2\" is no named value: write it as gear in ('P', 'R')."),
    "gear in ()": (9, "\"()\" holds no named value: write it as gear in ('P', 'R')."),
    "'P' in gear": (1, "\"'P'\" is no signal: write it as gear in ('P', 'R')."),
    "gear < 'R'": (8, 'The named values of "gear" have no order: compare with == or !=.'),
    "counter == 'P'": (12, '"counter" has no named values to compare with "P".'),
    "speed == 'fast'": (10, "\"fast\" is no quantity: write a number and its unit, such as '5 km/h'."),
    # units
    "speed > 5": (9, "\"speed\" is in km/h: write the number with its unit, such as '5 km/h'."),
    "2.5 < speed": (1, "\"speed\" is in km/h: write the number with its unit, such as '2.5 km/h'."),
    "speed + 1 > '5 km/h'": (9, "\"speed\" is in km/h: write the number with its unit, such as '1 km/h'."),
    "on_share(lamp) > 30": (18, "\"on_share(lamp)\" is in %: write the number with its unit, such as '30 %'."),
    "counter > '5 km/h'": (11, '"counter" has no unit: write the bare number, such as 5.'),
    "flash_rate(lamp) > '60 rpm'": (20, '"flash_rate(lamp)" has no unit: write the bare number, such as 60.'),
    "speed > '5 V'": (9, '"5 V" does not fit "speed", which is in km/h.'),
    "speed > '5 furlongs'": (9, '"5 furlongs" does not fit "speed", which is in km/h.'),
    "speed > '5'": (9, "\"speed\" is in km/h: write the number with its unit, such as '5 km/h'."),
    "speed > battery": (9, '"battery" (V) and "speed" (km/h) do not compare.'),
    "speed > counter": (9, '"counter" (no unit) and "speed" (km/h) do not compare.'),
    "speed + battery > '5 V'": (9, '"battery" (V) and "speed" (km/h) do not compare.'),
    "speed * battery > 5": (1, '"speed * battery" makes one number of "km/h" and "V".'),
    "speed / battery > 5": (1, '"speed / battery" makes one number of "km/h" and "V".'),
    "1 / speed > 5": (1, '"1 / speed" divides a bare number by "km/h".'),
    "counter / 0 > 5": (11, '"counter / 0" divides by 0.'),
    "counter / (2 - 2) > 5": (12, '"counter / (2 - 2)" divides by 0.'),
    "outside - cabin > '5 degC'": (
        1,
        '"outside - cabin" mixes temperature scales with different zeros: write them in one unit.',
    ),
    "outside - '2 degC' > '9 degF'": (
        22,
        '"9 degF" mixes temperature scales with different zeros: write them in one unit.',
    ),
    "counter > 1e16": (11, '"1e16" is too large a number.'),
    "counter > 1e15" + "*1e15" * 20: (11, '"1e15' + "*1e15" * 13 + '" is too large a number.'),
    # ages
    "age(speed) > 2": (14, "\"2\" is no duration: write it in quotes, as in age(x) > '2 s'."),
    "age(speed) > '5 km/h'": (
        14,
        "\"5 km/h\" is no duration: write it like '300 ms', '2 s', '31 min' or '1.5 h'.",
    ),
    "age(speed) == '2 s'": (1, '"age(speed)" can be compared with <, <=, > and >= only.'),
    "age(door and lamp) > '2 s'": (5, 'age takes the name of a signal, not "door and lamp".'),
    "age(speed) + 1 > '2 s'": (1, "\"age(speed)\" is compared only with a duration, as in age(x) > '2 s'."),
    "age(speed)": (1, '"age(speed)" is not a condition: compare it with a value.'),
}


@pytest.mark.parametrize(("text", "fault"), FAULTS.items(), ids=[repr(text[:40]) for text in FAULTS])
def test_fault(text, fault):
    column, message = fault
    with pytest.raises(BenchError) as caught:
        bound(text)
    assert str(caught.value) == f"column {column}: {message}"


def test_what_is_too_long_or_too_deep():
    with pytest.raises(BenchError) as caught:
        bound("door and " * 300 + "door")
    assert str(caught.value) == "column 1: The expression has 2704 characters; at most 2000 are read."
    with pytest.raises(BenchError) as caught:
        bound("not " * 70 + "door")
    assert str(caught.value) == "column 1: The expression is nested more than 60 deep."
    with pytest.raises(BenchError):
        bound("(" * 900 + "door" + ")" * 900)


PLACES = {
    "one line": (Text("lamp and spede", Origin(Path("van.toml"), 7, 9)), "van.toml, line 7, column 18"),
    "leading blanks": (Text("  spede", Origin(Path("van.toml"), 7, 9)), "van.toml, line 7, column 11"),
    "second line": (Text("lamp\n  and spede", Origin(Path("van.toml"), 7, 12)), "van.toml, line 8, column 7"),
    "first line empty": (Text("\n\n spede", Origin(Path("van.toml"), 7, 12)), "van.toml, line 9, column 2"),
    "escapes": (Text("lamp and spede", Origin(Path("van.toml"), 7)), "van.toml, line 7"),
    "letters of two bytes": (
        Text("gear == 'ÄÖ' or spede", Origin(Path("van.toml"), 7, 1)),
        "van.toml, line 7, column 17",
    ),
}


@pytest.mark.parametrize(("text", "place"), PLACES.values(), ids=list(PLACES))
def test_place_of_a_name(text, place):
    with pytest.raises(BenchError) as caught:
        bind(parse(text), TYPES)
    assert str(caught.value) == f'{place}: Unknown signal "spede". Nearest known name: "speed".'


def test_names_of_an_expression():
    assert names_of(parse(Text("rises(b) and a > '5 V' or not (b or in_step(c, a, '1 s'))"))) == ("b", "a", "c")


EVENTS = {
    "rises(a)": True,
    "falls(a) and b": True,
    "rises(a) or changes(b)": True,
    "rises(a) or b": False,
    "not rises(a)": False,
    "held(a, '1 s')": False,
    "a": False,
}


@pytest.mark.parametrize(("text", "answer"), EVENTS.items(), ids=list(EVENTS))
def test_event(text, answer):
    assert is_event(parse(Text(text))) is answer


def levels(when, above, below_again=None):
    lower = None if below_again is None else Text(below_again)
    return bind_levels(parse(Text(when)), Text(above), lower, TYPES)


def test_levels_are_in_the_unit_of_the_quantity():
    assert levels("speed", "5 mph", "5 km/h") == (SPEED, 8.04672, 5.0)
    assert levels("counter", "3") == (Quantity("counter"), 3.0, 3.0)
    assert bind_quantity(parse(Text("speed - gps_speed")), TYPES) == Arithmetic("-", SPEED, GPS_IN_KMH)


LEVEL_FAULTS = {
    "bare": (("speed", "8"), "\"speed\" is in km/h: write the number with its unit, such as '8 km/h'."),
    "wrong unit": (("speed", "8 V"), '"8 V" does not fit "speed", which is in km/h.'),
    "unit not wanted": (("counter", "8 V"), '"counter" has no unit: write the bare number, such as 8.'),
    "upside down": (("speed", "5 km/h", "5 mph"), '"below_again" ("5 mph") is higher than "above" ("5 km/h").'),
    "a condition": (("door", "5 km/h"), '"door" is on or off and has no value: write door or not door.'),
    "a constant": (("'5 km/h'", "5 km/h"), '"5 km/h" is a constant: a signal is missing.'),
    "unknown": (("spede", "5 km/h"), 'Unknown signal "spede". Nearest known name: "speed".'),
}


@pytest.mark.parametrize(("args", "message"), LEVEL_FAULTS.values(), ids=list(LEVEL_FAULTS))
def test_level_fault(args, message):
    with pytest.raises(BenchError) as caught:
        levels(*args)
    assert str(caught.value) == f"column 1: {message}"
