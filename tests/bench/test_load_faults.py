"""Every way to get a bench file wrong: what is changed in a good one, and the message word for word."""

# ruff: noqa: E501 (a message stands on one line, as the user sees it)

from pathlib import Path

import pytest

from busprobe.bench.load import loads
from busprobe.errors import BenchError

GOOD = (Path(__file__).parent / "data" / "van.toml").read_text(encoding="utf-8")

FAULTS = {
    # TOML
    "toml error": (
        "bitrate = 500000",
        "bitrate 500000",
        ", line 8, column 9: This is no valid TOML: Expected '=' after a key in a key/value pair.\nWrite each line as a name, \"=\" and a value.",
    ),
    "toml unclosed string": (
        'name = "body"',
        'name = "body',
        ", line 5, column 13: This is no valid TOML: Illegal character '\\n'.\nA text ends with the quote that it begins with: name = \"body\"",
    ),
    "toml error at the end": (
        'keep = { before = "2 s", after = "5 s" }\n',
        'keep = { before = "2 s", after = "5 s"',
        ", line 123: This is no valid TOML: Unclosed inline table.\nWhat stands between { and } stands on one line, with commas between and texts in quotes.",
    ),
    "text without quotes": (
        'on = "rises(rear_door) and moving"',
        "on = rises(rear_door) and moving  # a comment",
        ', line 122, column 6: This is no valid TOML: Invalid value.\nTexts stand in quotes: on = "rises(rear_door) and moving"',
    ),
    "duration without quotes": (
        'within = "300 ms"',
        "within = 300 ms",
        ', line 88, column 14: This is no valid TOML: Expected newline or end of document after a statement.\nTexts stand in quotes: within = "300 ms"',
    ),
    "double quotes in double quotes": (
        "when = \"gear == 'R'\"",
        'when = "gear == "R""',
        ", line 86, column 18: This is no valid TOML: Expected newline or end of document after a statement.\nInside a text in double quotes use single ones: when = \"gear == 'R'\"",
    ),
    "double quotes in double quotes, not ended": (
        "when = \"gear == 'R'\"",
        'when = "gear == "R"',
        ", line 86, column 18: This is no valid TOML: Expected newline or end of document after a statement.\nInside a text in double quotes use single ones, and end it with a double one.",
    ),
    "value missing": (
        'role = "brake" }\n',
        'role = "brake" }\nlamp =\n',
        ', line 72, column 7: This is no valid TOML: Invalid value.\nA value is missing: lamp = "..."',
    ),
    "True": (
        "listen_only = true",
        "listen_only = True",
        ", line 9, column 15: This is no valid TOML: Invalid value.\ntrue and false are written in small letters: listen_only = true",
    ),
    "one [check] among [[check]]": (
        '[[check]]\nname = "Loads shed',
        '[check]\nname = "Loads shed',
        ", line 98: [check] stands in single brackets.\nWrite [[check]] with two brackets: there may be several.",
    ),
    "first [check] among [[check]]": (
        "[[check]]",
        "[check]",
        ", line 84: [check] stands in single brackets.\nWrite [[check]] with two brackets: there may be several.",
    ),
    "inline table over several lines": (
        'before = "2 s", after',
        'before = "2 s",\n  after',
        ", line 123, column 25: This is no valid TOML: Invalid initial character for a key part.\nWhat stands between { and } stands on one line, with commas between and texts in quotes.",
    ),
    "comma before }": (
        'after = "5 s" }',
        'after = "5 s", }',
        ', line 123, column 41: This is no valid TOML: Invalid initial character for a key part.\nNo comma stands before "}".',
    ),
    "bracket of a list missing": (
        'poll = ["0C", "0D", "42"]',
        'poll = ["0C", "0D", "42"',
        ', line 66, column 1: This is no valid TOML: Unclosed array.\nA list ends with "]".',
    ),
    "bracket of a heading missing": (
        "[signals]\n",
        "[signals\n",
        ", line 68, column 9: This is no valid TOML: Expected ']' at the end of a table declaration.\nA heading stands in brackets: [signals], [[check]].",
    ),
    "two signals with one name": (
        'brake = { from = "body.BrakeStatus.PedalSwitch", role = "brake" }',
        'brake = { from = "body.BrakeStatus.PedalSwitch", role = "brake" }\nspeed = { from = "obd.0D" }',
        ', line 72: Two signals are named "speed"; the first is on line 70.',
    ),
    "derived signal with the name of another": (
        'brake = { from = "body.BrakeStatus.PedalSwitch", role = "brake" }',
        'brake = { from = "body.BrakeStatus.PedalSwitch", role = "brake" }\nspeed = { when = "brake" }',
        ', line 72: Two signals are named "speed"; the first is on line 70.',
    ),
    "key given twice": (
        'period = "10 ms"',
        'period = "10 ms"\nport = "COM3"',
        ', line 20: "port" is given twice; the first is on line 18.',
    ),
    "key given twice in an inline table": (
        'after = "5 s" }',
        'after = "5 s", before = "3 s" }',
        ', line 123: "before" is given twice; the first is on line 123.',
    ),
    "table given twice": ("[signals]", "[vehicle]\n[signals]", ', line 68, column 9: "vehicle" is given twice.'),
    "signal given twice": (
        "[[check]]",
        '[signals.speed]\nfrom = "obd.0D"\n[[check]]',
        ', line 84, column 15: Two signals are named "speed".',
    ),
    # tables and keys
    "unknown table": (
        "[signals]",
        "[singals]",
        ', line 68, column 2: Unknown table [singals] in the bench file. Nearest known name: "signals".',
    ),
    "unknown key at the top": (
        "[vehicle]\n",
        "vehicel = 3\n[vehicle]\n",
        ', line 1, column 1: Unknown key "vehicel" in the bench file. Nearest known name: "vehicle".',
    ),
    "no vehicle": (
        '[vehicle]\nname = "Roads patrol van 12"\n',
        "",
        ': The bench file has no table [vehicle] with the "name" of the vehicle.',
    ),
    "vehicle is no table": (
        '[vehicle]\nname = "Roads patrol van 12"\n',
        'vehicle = "van"\n',
        ', line 1, column 12: "vehicle" of the bench file must be a table; found "van".',
    ),
    "vehicle without name": ('name = "Roads patrol van 12"\n', "", ', line 1, column 1: [vehicle] has no "name".'),
    "single brackets": (
        "[[bus]]",
        "[bus]",
        ', line 4, column 2: "bus" must be a list of tables: write [[bus]] above each.',
    ),
    "unknown key of a check": (
        'hold = "while when"',
        'holds = "while when"',
        ', line 89, column 1: Unknown key "holds" in [[check]] "Rear white lamp follows reverse". Nearest known name: "hold".',
    ),
    "unknown key of a check without kind": (
        "never = \"siren and gear == 'P'\"",
        'nevr = "siren"',
        ', line 117, column 1: Unknown key "nevr" in [[check]] "Siren silent in park". Nearest known name: "never".',
    ),
    "unknown key of a trigger": (
        'on = "rises(rear_door)',
        'when = "rises(rear_door)',
        ', line 122, column 1: Unknown key "when" in [[trigger]] "Rear door opens while moving".',
    ),
    "unknown key of a signal": (
        'unit = "km/h"',
        'units = "km/h"',
        ', line 70, column 78: Unknown key "units" in [signals] speed. Nearest known name: "unit".',
    ),
    "unknown key of a derived signal": (
        'below_again = "5 km/h"',
        'below = "5 km/h"',
        ', line 81, column 46: Unknown key "below" in [signals] moving. Nearest known name: "below_again".',
    ),
    "unknown key of a line": (
        'active = "low"',
        'actve = "low"',
        ', line 24, column 1: Unknown key "actve" in [[inputs.line]] "rear_door_pin". Nearest known name: "active".',
    ),
    "unknown key of keep": (
        'after = "5 s" }',
        'aftr = "5 s" }',
        ', line 123, column 26: Unknown key "aftr" in "keep" of [[trigger]] "Rear door opens while moving". Nearest known name: "after".',
    ),
    "unknown key of obd": (
        'every = "500 ms"',
        'evry = "500 ms"',
        ', line 66, column 1: Unknown key "evry" in [obd]. Nearest known name: "every".',
    ),
    "near miss in a bus": (
        "databases =",
        "databse =",
        ', line 12, column 1: Unknown key "databse" in [[bus]] "body". Nearest known name: "databases".',
    ),
    "near miss in a bus, underscore": (
        "listen_only =",
        "listenonly =",
        ', line 9, column 1: Unknown key "listenonly" in [[bus]] "body". Nearest known name: "listen_only".',
    ),
    "near miss in a bus, hyphen": (
        "listen_only =",
        "listen-only =",
        ', line 9, column 1: Unknown key "listen-only" in [[bus]] "body". Nearest known name: "listen_only".',
    ),
    "near miss in an input box": (
        "period =",
        "perod =",
        ', line 19, column 1: Unknown key "perod" in [[inputs]] "box". Nearest known name: "period".',
    ),
    "bus without name": (
        '[[bus]]\nname = "body"\n',
        "[[bus]]\n",
        ', line 4, column 1: [[bus]] number 1 has no "name".',
    ),
    "line without number": (
        "number = 3\n",
        "",
        ', line 21, column 1: [[inputs.line]] "rear_door_pin" has no "number".',
    ),
    "check without name": (
        'name = "Loads shed after key-off"\n',
        "",
        ', line 98, column 1: [[check]] number 3 has no "name".',
    ),
    "check without within": (
        'within = "31 min"\n',
        "",
        ', line 98, column 1: [[check]] "Loads shed after key-off" has no "within".',
    ),
    "follows without off_within": (
        'off_within = "200 ms"\n',
        "",
        ', line 91, column 1: [[check]] "Work lamp strip follows the side door" has no "off_within".',
    ),
    "trigger without on": (
        'on = "rises(rear_door) and moving"\n',
        "",
        ', line 120, column 1: [[trigger]] "Rear door opens while moving" has no "on".',
    ),
    "box without driver": ('driver = "modbus"\n', "", ', line 15, column 1: [[inputs]] "box" has no "driver".'),
    "poll without every": ('every = "500 ms"\n', "", ', line 63, column 1: [obd] has no "every".'),
    "obd without bus": ('[obd]\nbus = "body"\n', "[obd]\n", ', line 63, column 1: [obd] has no "bus".'),
    # types of values
    "number for a text": (
        'name = "body"',
        "name = 7",
        ', line 5, column 8: "name" of [[bus]] number 1 must be a text in quotes; found 7.',
    ),
    "empty name": (
        'name = "body"',
        'name = " "',
        ', line 5, column 9: "name" of [[bus]] " " must be a text in quotes; found " ".',
    ),
    "text for a number": (
        "bitrate = 500000",
        'bitrate = "500k"',
        ', line 8, column 12: "bitrate" of [[bus]] "body" must be a whole number from 1 up; found "500k".',
    ),
    "bit rate 0": (
        "bitrate = 500000",
        "bitrate = 0",
        ', line 8, column 11: "bitrate" of [[bus]] "body" must be a whole number from 1 up; found 0.',
    ),
    "text for true": (
        "listen_only = true",
        'listen_only = "yes"',
        ', line 9, column 16: "listen_only" of [[bus]] "body" must be true or false; found "yes".',
    ),
    "number for a duration": (
        'settle = "200 ms"',
        "settle = 0.2",
        ', line 118, column 10: "settle" of [[check]] "Siren silent in park" must be a duration in quotes, such as "300 ms"; found 0.2.',
    ),
    "true for a number": (
        "min_full = 2",
        "min_full = true",
        ', line 113, column 12: "min_full" of [[check]] "Amber beacons flash while the side door is open" must be a whole number from 1 up; found true.',
    ),
    "number in databases": (
        'databases = ["patrol_van.dbc"]',
        "databases = [3]",
        ', line 12, column 14: "databases" of [[bus]] "body" must be a text in quotes or a list of them; found 3.',
    ),
    "two channels": (
        'channel = "can0"',
        'channel = ["can0", "can1"]',
        ', line 7, column 11: "channel" of [[bus]] "body" must be one channel; found a list.',
    ),
    "signal is no table": (
        'brake = { from = "body.BrakeStatus.PedalSwitch", role = "brake" }',
        'brake = "body.BrakeStatus.PedalSwitch"',
        ', line 71, column 10: "brake" of [signals] must be a table; found "body.BrakeStatus.PedalSwitch".',
    ),
    "check is a table": (
        "[[trigger]]",
        "[trigger]",
        ', line 120, column 2: "trigger" must be a list of tables: write [[trigger]] above each.',
    ),
    "values is a list": (
        'values = { Park = "P", Reverse = "R", Neutral = "N", Drive = "D" }',
        'values = ["P"]',
        ', line 69, column 81: "values" of [signals] gear must be a table; found a list.',
    ),
    "value is a number": (
        'Park = "P"',
        "Park = 0",
        ', line 69, column 90: "Park" of "values" of [signals] gear must be a text in quotes; found 0.',
    ),
    "unknown is a text": (
        'role = "brake"',
        'unknown = "3"',
        ', line 71, column 61: "unknown" of [signals] brake must be a whole number or a list of them; found "3".',
    ),
    "keep is a text": (
        'keep = { before = "2 s", after = "5 s" }',
        'keep = "2 s"',
        ', line 123, column 9: "keep" of [[trigger]] "Rear door opens while moving" must be a table; found "2 s".',
    ),
    "keep before is a number": (
        'before = "2 s"',
        "before = 2",
        ', line 123, column 19: "before" of "keep" of [[trigger]] "Rear door opens while moving" must be a duration in quotes, such as "300 ms"; found 2.',
    ),
    "poll is a number": (
        'poll = ["0C", "0D", "42"]',
        "poll = [12]",
        ', line 65, column 9: "poll" of [obd] must be a text in quotes or a list of them; found 12.',
    ),
    "active": (
        'active = "low"',
        'active = "ground"',
        ', line 24, column 11: "active" of [[inputs.line]] "rear_door_pin" must be "low" or "high"; found "ground".',
    ),
    "already": (
        'settle = "1.5 s"',
        'settle = "1.5 s"\nalready = true',
        ', line 113, column 1: "already" does not go with "always" in [[check]] "Amber beacons flash while the side door is open".',
    ),
    "already wrong": (
        'not_before = "29 min"',
        'not_before = "29 min"\nalready = true',
        ', line 103, column 11: "already" of [[check]] "Loads shed after key-off" must be "counts"; found true.',
    ),
    "hold of follows": (
        'off_within = "200 ms"',
        'off_within = "200 ms"\nhold = "2 s"',
        ', line 97, column 9: "hold" of [[check]] "Work lamp strip follows the side door" must be "while when" where "follows" is given; found "2 s".',
    ),
    # durations and units
    "wrong duration": (
        'settle = "200 ms"',
        'settle = "200 msec"',
        ", line 118, column 11: \"200 msec\" is no duration: write it like '300 ms', '2 s', '31 min' or '1.5 h'.",
    ),
    "wrong duration in a table": (
        'after = "5 s"',
        'after = "5 V"',
        ", line 123, column 35: \"5 V\" is no duration: write it like '300 ms', '2 s', '31 min' or '1.5 h'.",
    ),
    "wrong hold": (
        'hold = "while when"',
        'hold = "while on"',
        ', line 89, column 9: "hold" of [[check]] "Rear white lamp follows reverse" must be "while when" or a duration, such as "2 s"; found "while on".',
    ),
    "period 0": (
        'period = "10 ms"',
        'period = "0 ms"',
        ', line 19, column 11: "period" of [[inputs]] "box" must be longer than 0; found "0 ms".',
    ),
    "wrong voltage": (
        'above = "11.8 V"',
        'above = "11.8 A"',
        ', line 59, column 10: "11.8 A" is no voltage: write it like "9 V" or "850 mV".',
    ),
    "voltage without unit": (
        'above = "11.8 V"',
        'above = "11.8"',
        ', line 59, column 10: "11.8" is no voltage: write it like "9 V" or "850 mV".',
    ),
    "voltages upside down": (
        'below_again = "11.2 V"',
        'below_again = "12.2 V"',
        ', line 60, column 16: "below_again" ("12.2 V") is higher than "above" ("11.8 V").',
    ),
    "below_again alone": (
        'above = "11.8 V"\n',
        "",
        ', line 59, column 1: [[inputs.line]] "battery_plus" has "below_again" without "above".',
    ),
    "above on a digital line": (
        "analogue = true\n",
        "",
        ', line 58, column 1: "above" is for analogue lines: add analogue = true.',
    ),
    "wrong level": (
        'above = "8 km/h"',
        'above = "fast"',
        ", line 81, column 37: \"fast\" is no quantity: write a number and its unit, such as '5 km/h'.",
    ),
    "level without above": (
        'above = "8 km/h", ',
        "",
        ', line 81, column 28: [signals] moving has "below_again" without "above".',
    ),
    # names
    "obd is reserved for signals": (
        'brake = { from = "body.BrakeStatus.PedalSwitch", role = "brake" }',
        'obd = { from = "body.BrakeStatus.PedalSwitch", role = "brake" }',
        ', line 71, column 1: "obd" cannot be the name of a signal: it stands for the answers of the diagnostic connector.',
    ),
    "obd is reserved for buses": (
        'name = "body"',
        'name = "obd"',
        ', line 5, column 9: "obd" cannot be the name of a bus: it stands for the answers of the diagnostic connector.',
    ),
    "keyword": (
        'brake = { from = "body.BrakeStatus.PedalSwitch", role = "brake" }',
        'in = { from = "body.BrakeStatus.PedalSwitch", role = "brake" }',
        ', line 71, column 1: "in" cannot be the name of a signal: it is a word of Python, whose grammar expressions use.',
    ),
    "function": (
        'brake = { from = "body.BrakeStatus.PedalSwitch", role = "brake" }',
        'held = { from = "body.BrakeStatus.PedalSwitch", role = "brake" }',
        ', line 71, column 1: "held" cannot be the name of a signal: it is a function of expressions.',
    ),
    "no identifier": (
        'brake = { from = "body.BrakeStatus.PedalSwitch", role = "brake" }',
        '"rear door" = { from = "body.BrakeStatus.PedalSwitch", role = "brake" }',
        ', line 71, column 1: "rear door" cannot be the name of a signal: use letters, digits and "_" only, and no digit first.',
    ),
    "no identifier, hyphen": (
        'brake = { from = "body.BrakeStatus.PedalSwitch", role = "brake" }',
        'rear-door = { from = "body.BrakeStatus.PedalSwitch", role = "brake" }',
        ', line 71, column 1: "rear-door" cannot be the name of a signal: use letters, digits and "_" only, and no digit first.',
    ),
    "input box name": (
        'name = "box"',
        'name = "my box"',
        ', line 16, column 9: "my box" cannot be the name of an input box: use letters, digits and "_" only, and no digit first.',
    ),
    "line name": (
        'name = "siren_wire"',
        'name = "siren.wire"',
        ', line 32, column 9: "siren.wire" cannot be the name of a line: use letters, digits and "_" only, and no digit first.',
    ),
    "two buses with one name": (
        "[[inputs]]",
        '[[bus]]\nname = "body"\n[[inputs]]',
        ', line 16, column 9: Two buses are named "body"; the first is on line 5.',
    ),
    "bus and box with one name": (
        'name = "box"',
        'name = "body"',
        ', line 16, column 9: A bus and an input box are both named "body"; the bus is on line 4.',
    ),
    "two lines with one name": (
        'name = "siren_wire"',
        'name = "rear_door_pin"',
        ', line 32, column 9: Two lines of [[inputs]] "box" are named "rear_door_pin"; the first is on line 22.',
    ),
    "two lines with one number": (
        "number = 5",
        "number = 3",
        ', line 33, column 10: The lines "rear_door_pin" and "siren_wire" of [[inputs]] "box" both have the number "3".',
    ),
    "two checks with one name": (
        'name = "Loads shed after key-off"',
        'name = "Rear white lamp follows reverse"',
        ', line 99, column 9: Two checks are named "Rear white lamp follows reverse"; the first is on line 85.',
    ),
    "two triggers with one name": (
        "[[trigger]]",
        '[[trigger]]\nname = "Rear door opens while moving"\non = "rises(brake)"\n[[trigger]]',
        ', line 124, column 9: Two triggers are named "Rear door opens while moving"; the first is on line 121.',
    ),
    "role": (
        'role = "brake"',
        'role = "Brake"',
        ', line 71, column 58: "Brake" is no role: write words in lower case, such as "gear" or "rear door".',
    ),
    # where signals come from
    "unknown bus": (
        '"body.WheelSpeed',
        '"bdy.WheelSpeed',
        ', line 70, column 20: "bdy.WheelSpeed.VehicleSpeed" comes from no bus or input box of this file: there is no "bdy". Nearest known name: "body".',
    ),
    "unknown line": (
        '"box.siren_wire"',
        '"box.sirenwire"',
        ', line 74, column 19: The input box "box" has no line "sirenwire". Nearest known name: "siren_wire".',
    ),
    "bus without signal": (
        '"body.BrakeStatus.PedalSwitch"',
        '"body.BrakeStatus"',
        ', line 71, column 19: "body.BrakeStatus" names no signal: write bus, message and signal, such as "body.WheelSpeed.VehicleSpeed".',
    ),
    "PID": (
        '"obd.0D"',
        '"obd.D"',
        ', line 70, column 52: "obd.D" is no value of a PID: write it like "obd.0D" or "obd.14.voltage".',
    ),
    "from is empty": (
        '["body.WheelSpeed.VehicleSpeed", "obd.0D"]',
        "[]",
        ', line 70, column 18: "from" of [signals] speed is empty.',
    ),
    "from and when": (
        'brake = { from = "body.BrakeStatus.PedalSwitch", role = "brake" }',
        'brake = { from = "obd.0D", when = "siren" }',
        ', line 71, column 1: [signals] brake has both "from" and "when"; it can have only one.',
    ),
    "neither from nor when": (
        'brake = { from = "body.BrakeStatus.PedalSwitch", role = "brake" }',
        'brake = { role = "brake" }',
        ', line 71, column 1: [signals] brake has neither "from" nor "when".',
    ),
    "driver": (
        'driver = "modbus"',
        'driver = "modbuss"',
        ', line 17, column 11: Unknown driver "modbuss". Nearest known name: "modbus".\nDrivers: "modbus", "modem-lines", "text-lines", "recorded".',
    ),
    "driver unlike any": (
        'driver = "modbus"',
        'driver = "xyz"',
        ', line 17, column 11: Unknown driver "xyz".\nDrivers: "modbus", "modem-lines", "text-lines", "recorded".',
    ),
    "obd bus": (
        '[obd]\nbus = "body"',
        '[obd]\nbus = "bdy"',
        ', line 64, column 8: [obd] names the bus "bdy", which is not there. Nearest known name: "body".',
    ),
    "obd PID": (
        '"0C", "0D"',
        '"C", "0D"',
        ', line 65, column 10: "C" is no PID: write two hexadecimal digits, such as "0C".',
    ),
    "obd PID twice": ('"0C", "0D"', '"0c", "0C"', ', line 65, column 16: The PID "0C" is polled twice.'),
    # arithmetic
    "debounce": (
        'debounce = "20 ms"',
        'debounce = "15 ms"',
        ', line 25, column 13: The debounce of "rear_door_pin", "15 ms", is below twice the period of [[inputs]] "box": 2 × 10 ms = 20 ms.\nMake "debounce" at least "20 ms", or "period" shorter.',
    ),
    "obd rate": (
        '"42"]\nevery = "500 ms"',
        '"42", "05", "0F", "11", "2F"]\nevery = "150 ms"',
        ', line 66, column 10: 7 PIDs take 2 requests of up to 6; every "150 ms" that is 13.33 requests a second, and at most 10 are allowed.\nMake "every" at least "200 ms", or poll fewer PIDs.',
    ),
    "not_before": (
        'not_before = "29 min"',
        'not_before = "32 min"',
        ', line 102, column 15: "not_before" ("32 min") is later than "within" ("31 min").',
    ),
    # kinds of check
    "neither when nor never": (
        "never = \"siren and gear == 'P'\"\n",
        "",
        ', line 115, column 1: [[check]] "Siren silent in park" has neither "when" nor "never".\nA check has "when" and "expect", or "follows" and "when", or "never", or "always".',
    ),
    "when and never": (
        'never = "siren',
        'when = "brake"\nnever = "siren',
        ', line 115, column 1: [[check]] "Siren silent in park" has both "when" and "never": it can be only one kind of check.\nA check has "when" and "expect", or "follows" and "when", or "never", or "always".',
    ),
    "never and always": (
        'never = "siren',
        'always = "brake"\nnever = "siren',
        ', line 115, column 1: [[check]] "Siren silent in park" has both "always" and "never": it can be only one kind of check.\nA check has "when" and "expect", or "follows" and "when", or "never", or "always".',
    ),
    "expect and follows": (
        'expect = "rear_white"',
        'expect = "rear_white"\nfollows = "siren"',
        ', line 84, column 1: [[check]] "Rear white lamp follows reverse" has both "expect" and "follows": it can be only one kind of check.\nA check has "when" and "expect", or "follows" and "when", or "never", or "always".',
    ),
    "when without expect": (
        'expect = "rear_white"\n',
        "",
        ', line 84, column 1: [[check]] "Rear white lamp follows reverse" has no "expect".',
    ),
    "within with never": (
        'settle = "200 ms"',
        'within = "200 ms"',
        ', line 118, column 1: "within" does not go with "never" in [[check]] "Siren silent in park".',
    ),
    "hold while an event": (
        'not_before = "29 min"',
        'hold = "while when"',
        ', line 102, column 9: "hold" cannot be "while when", as "when" is an event: give it a duration.',
    ),
    "follows an event": (
        'when = "side_door"',
        'when = "rises(side_door)"',
        ', line 94, column 9: "when" of [[check]] "Work lamp strip follows the side door" must last; it is an event.',
    ),
    "given an event": (
        "given = \"held(side_door, '2 s')\"",
        'given = "rises(side_door)"',
        ', line 111, column 10: "given" of [[check]] "Amber beacons flash while the side door is open" must last; it is an event.',
    ),
    "derived event": (
        'when = "secured and not moving"',
        'when = "secured and rises(moving)"',
        ", line 80, column 21: [signals] at_rest is made from an event; a signal must last.",
    ),
    # expressions
    "unknown signal": (
        'expect = "rear_white"',
        'expect = "brake and rear_wite"',
        ', line 87, column 21: Unknown signal "rear_wite". Nearest known name: "rear_white".',
    ),
    "unknown signal in a derived one": (
        'when = "speed"',
        'when = "sped"',
        ', line 81, column 20: Unknown signal "sped". Nearest known name: "speed".',
    ),
    "unknown signal in a text of several lines": (
        "or flash_rate(strip) > 55",
        "or flash_rate(stripe) > 55",
        ', line 109, column 17: Unknown signal "stripe". Nearest known name: "strip".',
    ),
    "unknown function": (
        'on = "rises(rear_door)',
        'on = "rise(rear_door)',
        ', line 122, column 7: Unknown function "rise". Nearest known name: "rises".',
    ),
    "syntax": (
        "when = \"gear == 'R'\"",
        "when = \"gear = 'R'\"",
        ', line 86, column 14: "=" compares nothing: write "==".',
    ),
    "escapes": (
        "when = \"gear == 'R'\"",
        'when = "gear == \\"R\\" and spede"',
        ', line 86: Unknown signal "spede". Nearest known name: "speed".',
    ),
    "made from itself": (
        'when = "speed", above',
        'when = "at_rest", above',
        ', line 80, column 21: "at_rest" is made from itself: at_rest from moving from at_rest.',
    ),
}


@pytest.mark.parametrize(("good", "bad", "message"), FAULTS.values(), ids=list(FAULTS))
def test_fault(good, bad, message):
    assert good in GOOD
    with pytest.raises(BenchError) as caught:
        loads(GOOD.replace(good, bad, 1), Path("van.toml"))
    assert str(caught.value) == "van.toml" + message


def test_every_check_in_single_brackets():
    with pytest.raises(BenchError) as caught:
        loads(GOOD.replace("[[check]]", "[check]"), Path("van.toml"))
    assert str(caught.value) == (
        "van.toml, line 84: [check] stands in single brackets.\n"
        "Write [[check]] with two brackets: there may be several."
    )
