"""Where keys and values of a bench file stand."""

import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busprobe.bench.places import find_places

TEXT = '''\
# a comment with "quotes" and [brackets]
title = "x" # after
[vehicle]
name = 'van'
[[bus]]
name = "body"
databases = [
    "a.dbc", # first
    "b.dbc",
]
[[bus]]
name="chassis"
[[inputs]]
[[inputs.line]]
name = "first"
[[inputs.line]]
name = "second"
[inputs.wiring]
note = "a # b"
[[inputs]]
[[inputs.line]]
name = "third"
[signals]
moving = { when = "speed", above = "8 km/h", levels = [1, 2.5] }
"quoted.key" = 3
dotted.from = "body.A.B"
escaped = "a \\" b"
long = """
brake
or siren"""
short = """brake"""
raw = \'\'\'it's
two\'\'\'
after = 1979-05-27T07:32:00Z
'''

EXPECTED = [
    (("title",), (2, 10)),
    (("vehicle",), (3, 1)),
    (("vehicle", "name"), (4, 9)),
    (("bus", 0), (5, 1)),
    (("bus", 0, "databases"), (7, 13)),
    (("bus", 0, "databases", 0), (8, 6)),
    (("bus", 0, "databases", 1), (9, 6)),
    (("bus", 1, "name"), (12, 7)),
    (("inputs", 0, "line", 0, "name"), (15, 9)),
    (("inputs", 0, "line", 1, "name"), (17, 9)),
    (("inputs", 0, "wiring", "note"), (19, 9)),
    (("inputs", 1), (20, 1)),
    (("inputs", 1, "line", 0, "name"), (22, 9)),
    (("signals", "moving"), (24, 10)),
    (("signals", "moving", "when"), (24, 20)),
    (("signals", "moving", "above"), (24, 37)),
    (("signals", "moving", "levels", 1), (24, 59)),
    (("signals", "quoted.key"), (25, 16)),
    (("signals", "dotted", "from"), (26, 16)),
    (("signals", "escaped"), (27, None)),
    (("signals", "long"), (29, 1)),
    (("signals", "short"), (31, 12)),
    (("signals", "raw"), (32, 10)),
    (("signals", "after"), (34, 9)),
]


@pytest.mark.parametrize(("keys", "place"), EXPECTED, ids=[".".join(map(str, k)) for k, _ in EXPECTED])
def test_place_of_a_value(keys, place):
    origin = find_places(TEXT).of_value(keys)
    assert (origin.line, origin.column) == place


def test_place_of_a_key_and_of_what_is_not_there():
    places = find_places(TEXT)
    assert (places.of_key(("signals", "dotted")).line, places.of_key(("signals", "dotted")).column) == (26, 1)
    assert places.of_key(("inputs", 0, "line", 1, "name")).column == 1
    assert places.of_value(("bus", 1, "bitrate")).line == 11, "the table stands in for a missing key"
    assert places.of_value(("nowhere",)).line is None


def paths(value, keys=()):
    """Every path that leads to a value of a TOML document."""
    if isinstance(value, dict):
        for key, item in value.items():
            yield from paths(item, (*keys, key))
    elif isinstance(value, list):
        for number, item in enumerate(value):
            yield from paths(item, (*keys, number))
    else:
        yield keys


def test_every_value_that_the_toml_reader_sees_has_a_place():
    found = find_places(TEXT).values
    assert [keys for keys in paths(tomllib.loads(TEXT)) if keys not in found] == []


@settings(derandomize=True)
@given(st.text(alphabet="[]{}=.,\"'#\n \\ab1"))
def test_any_text_is_survived(text):
    places = find_places(text)
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return
    assert [keys for keys in paths(document) if keys not in places.values and "\\" not in text] == []
