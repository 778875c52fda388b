"""Any text at all is either bound or refused with a BenchError that has a place."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busprobe.bench.expression import bind, bind_quantity, is_event, names_of, parse
from busprobe.bench.model import Origin, SignalType, Text
from busprobe.bench.nodes import is_event as is_event_node
from busprobe.bench.nodes import signals_of
from busprobe.errors import BenchError

TYPES = {
    "gear": SignalType(labels={"P": (0.0,), "R": (1.0,)}),
    "speed": SignalType(unit="km/h"),
    "outside": SignalType(unit="degC"),
    "cabin": SignalType(unit="degF"),
    "counter": SignalType(),
    "brake": SignalType(two_bit=True),
    "door": SignalType(is_condition=True),
}
NUMBERS = ["0", "3", "0.5", "1e9", "1e-300", "9" * 40, "True"]
WORDS = [
    *TYPES,
    *NUMBERS,
    *("'P'", "'5 km/h'", "'2 mph'", "'-3 degF'", "'4 degC'", "'200 ms'", "'30 %'", "''"),
    *("and", "or", "not", "in", "is", "if", "else", "lambda", "None", "nobody"),
    *(
        "(",
        ")",
        "[",
        "]",
        ",",
        ".",
        "=",
        "==",
        "<",
        ">=",
        "+",
        "-",
        "*",
        "/",
        "//",
        "**",
        ":",
        "#",
        "\\",
        "\n",
        "ä",
        "\0",
    ),
    *("rises(", "falls(", "changes(", "held(", "age(", "known(", "flash_rate(", "on_share(", "in_step("),
]


def expressions():
    """Texts that keep to the grammar, right or wrong in what they mean."""
    leaves = st.sampled_from([*TYPES, *NUMBERS, "'P'", "'5 km/h'", "'-3 degF'", "'4 degC'", "'200 ms'"])

    def longer(inner):
        pair = st.tuples(inner, inner)
        signs = st.sampled_from(["==", "!=", "<", ">=", "in", "+", "-", "*", "/", "and", "or"])
        calls = st.sampled_from(["rises", "falls", "changes", "age", "known", "flashing", "flash_rate", "on_share"])
        return st.one_of(
            st.builds(lambda p, sign: f"({p[0]} {sign} {p[1]})", pair, signs),
            st.builds(lambda p: f"{p[0]} in ({p[1]}, 'R')", pair),
            st.builds(lambda x: f"not {x}", inner),
            st.builds(lambda x: f"-{x}", inner),
            st.builds(lambda name, x: f"{name}({x})", calls, inner),
            st.builds(lambda x: f"held({x}, '200 ms')", inner),
            st.builds(lambda p: f"in_step({p[0]}, {p[1]}, '30 ms')", pair),
        )

    return st.recursive(leaves, longer, max_leaves=8)


@settings(max_examples=400, deadline=None, derandomize=True)
@given(st.one_of(st.text(), st.lists(st.sampled_from(WORDS)).map(" ".join), expressions()))
def test_bound_or_refused(text):
    origin = Origin(None, 3, 1)
    for bind_it in (bind, bind_quantity):
        try:
            parsed = parse(Text(text, origin))
            node = bind_it(parsed, TYPES)
        except BenchError as error:
            fault = error
        else:
            assert set(signals_of(node)) == set(names_of(parsed))
            assert is_event_node(node) == is_event(parsed)
            continue
        assert (fault.line, fault.column) >= (3, 1)
        assert fault.message[-1] == "."


@settings(max_examples=100, deadline=None, derandomize=True)
@given(st.integers(1, 1999), st.sampled_from(["(", "-", "not ", "[", "rises(", "1+", "1<", "a.", "a(", "{", "lambda:"]))
def test_piled_up_signs_are_refused(count, sign):
    """None of them is a condition, wherever it is cut."""
    with pytest.raises(BenchError) as caught:
        bind(parse(Text((sign * count)[:1999], Origin(None, 3, 1))), TYPES)
    assert (caught.value.line, caught.value.column) >= (3, 1)
    assert caught.value.message[-1] == "."
