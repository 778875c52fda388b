"""What came of a failure after its limit, and what the signals said where an occurrence became unknown."""

from __future__ import annotations

import pytest
from stepped import MS, run

from busprobe.bench.load import loads
from busprobe.engine.watches import expected
from busprobe.results import Occurrence, Outcome

WHEN = '[[check]]\nname = "c"\nwhen = "w"\nexpect = "x"\nwithin = "300 ms"\n'
EVENT = WHEN.replace('"w"', '"rises(w)"')
EARLIEST = WHEN + 'not_before = "200 ms"\n'
FOLLOWS = '[[check]]\nname = "c"\nwhen = "w"\nfollows = "x"\non_within = "300 ms"\noff_within = "300 ms"\n'
HOLD = WHEN + 'hold = "while when"\n'
CUTS = [(), (1300,), (1301, 1375), (1374.999999, 1375.000001, 1900), tuple(range(1000, 6000, 50))]


def only(rest: str, cuts: tuple[float, ...] = (), *, sampling: float = 0, **signals: str) -> Occurrence:
    (result,), _ = run(signals, rest, 6000, cuts_ms=cuts, sampling_ms=sampling)
    (one,) = result.occurrences
    return one


AFTERWARDS = {
    "came": (WHEN, "0 F, 1000 T, 2000 F", "0 F, 1375 T", 375, False),
    "came after a long time": (WHEN, "0 F, 1000 T", "0 F, 5500 T", 4500, False),
    "came just after the limit": (WHEN, "0 F, 1000 T, 2000 F", "0 F, 1300.000001 T", 300.000001, False),
    "came as when fell": (WHEN, "0 F, 1000 T, 2000 F", "0 F, 2000 T", 1000, False),
    "came and went": (WHEN, "0 F, 1000 T, 2000 F", "0 F, 1375 T, 1380 F, 1500 T", 375, False),
    "never came": (WHEN, "0 F, 1000 T, 2000 F", "0 F, 2000.000001 T", None, True),
    "the data ended": (WHEN, "0 F, 1000 T", "0 F", None, False),
    "unknown first": (WHEN, "0 F, 1000 T, 2000 F", "0 F, 1400 ?, 1500 T", None, False),
    "when unknown, then false": (WHEN, "0 F, 1000 T, 1400 ?, 2000 F", "0 F", None, True),
    "when unknown, then true": (WHEN, "0 F, 1000 T, 1400 ?, 1500 T", "0 F, 1600 T", 600, False),
    "when unknown after an event": (EVENT, "0 F, 1000 T, 1100 F, 1400 ?, 1500 F", "0 F, 1600 T", 600, False),
    "after an event": (EVENT, "0 F, 1000 T, 1100 F", "0 F, 4000 T", 3000, False),
    "too late after an event": (EVENT, "0 F, 1000 T, 1100 F", "0 F, 4000.000001 T", None, False),
}


@pytest.mark.parametrize("cuts", CUTS, ids=lambda cuts: f"{len(cuts)} cuts")
@pytest.mark.parametrize(("rest", "w", "x", "after", "never"), AFTERWARDS.values(), ids=list(AFTERWARDS))
def test_afterwards(rest, w, x, after, never, cuts):
    one = only(rest, cuts, w=w, x=x)
    assert one.outcome is Outcome.FAILED
    assert one.decided_ns == 1300 * MS
    assert one.came_after_ns == (None if after is None else round(after * MS))
    assert one.never_came is never


DOUBTS = {
    "no poll, no doubt": (WHEN, 0, "0 F, 1300.000001 T", (0, False)),
    "within the doubt": (WHEN, 10, "0 F, 1309.999999 T", (10, True)),
    "by as much as the doubt": (WHEN, 10, "0 F, 1310 T", (10, False)),
    "far beyond it": (WHEN, 10, "0 F, 1375 T", (10, False)),
    "never came": (WHEN, 10, "0 F", (0, False)),
    "unknown first": (WHEN, 10, "0 F, 1301 ?, 1302 T", (0, False)),
    "as when fell": (WHEN, 1000, "0 F, 2000 T", (1000, True)),
    "the off half of follows": (FOLLOWS, 10, "0 F, 1000 T, 2309 F", (10, True)),
    "early": (EARLIEST, 10, "0 F, 1150 T", (10, False)),
    "early within the doubt": (EARLIEST, 10, "0 F, 1190.000001 T", (10, True)),
    "early by as much as the doubt": (EARLIEST, 10, "0 F, 1190 T", (10, False)),
    "early after unknown": (EARLIEST, 10, "0 F, 1100 ?, 1195 T", (10, True)),
}


@pytest.mark.parametrize("cuts", CUTS, ids=lambda cuts: f"{len(cuts)} cuts")
@pytest.mark.parametrize(("rest", "polled", "x", "doubt"), DOUBTS.values(), ids=list(DOUBTS))
def test_how_exactly_a_failure_is_known(rest, polled, x, doubt, cuts):
    """Polled so often, in ms: plus or minus so much, and whether it may have been a pass after all."""
    (result,), _ = run({"w": "0 F, 1000 T, 2000 F", "x": x}, rest, 6000, cuts_ms=cuts, sampling_ms=polled)
    one = result.occurrences[-1]
    assert one.outcome is Outcome.FAILED
    assert (one.uncertainty_ns, one.tight) == (doubt[0] * MS, doubt[1])


def test_an_early_failure_is_not_followed():
    one = only(EARLIEST, w="0 F, 1000 T", x="0 F, 1100 T")
    assert (one.note, one.came_after_ns, one.never_came) == ("early", None, False)


UNKNOWN = {
    "at the rise": (WHEN, "0 F, 900 ?, 1200 F", 1000),
    "in the window": (WHEN, "0 F, 1100 ?, 1200 F, 1250 ?, 1260 F", 1100),
    "in the hold": (HOLD, "0 F, 1100 T, 1500 ?, 1600 T", 1500),
    "in the hold, twice": (HOLD, "0 F, 1100 T, 1500 ?, 1600 T, 1700 ?, 1800 T", 1500),
    "shorter than settle before": (
        HOLD + 'settle = "50 ms"\n', "0 F, 1100 T, 1500 ?, 1520 T, 1700 ?, 1800 T", 1700,
    ),
    "asleep in the end": (HOLD + 'settle = "50 ms"\n', "0 F, 1100 T, 1500 ?, 1520 z, 1600 T", 1500),
}  # fmt: skip


@pytest.mark.parametrize("cuts", CUTS, ids=lambda cuts: f"{len(cuts)} cuts")
@pytest.mark.parametrize(("rest", "x", "at"), UNKNOWN.values(), ids=list(UNKNOWN))
def test_an_undecided_one_shows_the_signals_where_they_became_unknown(rest, x, at, cuts):
    one = only(rest, cuts, w="0 F, 1000 T, 2000 F", x=x)
    assert one.outcome is Outcome.UNDECIDED
    assert one.at_ns == at * MS
    assert one.signals == {"w": "1.0", "x": "2.0"}  # the code of unknown


@pytest.mark.parametrize(
    ("rest", "w", "x", "signals"),
    [
        (WHEN, "0 F, 1000 T, 1250 ?", "0 F", {"w": "2.0", "x": "0.0"}),
        (WHEN, "0 F, 1000 T", "0 F, 900 ?, 1200 T", {"w": "1.0", "x": "1.0"}),
        (HOLD + 'settle = "50 ms"\n', "0 F, 1000 T, 1520 ?", "0 F, 1100 T, 1500 F", {"w": "1.0", "x": "0.0"}),
    ],
    ids=["too late: at the limit", "not seen to become so: when it is so", "did not hold: at the break"],
)
def test_which_signals_are_shown(rest, w, x, signals):
    assert only(rest, w=w, x=x).signals == signals


def test_a_break_shows_its_signals_though_it_was_unknown_before_it_counted():
    """Polled every 50 ms: the break counts 100 ms after its start."""
    one = only(HOLD + 'settle = "50 ms"\n', w="0 F, 1000 T, 1590 ?", x="0 F, 1100 T, 1500 F, 1570 ?", sampling=100)
    assert (one.outcome, one.at_ns, one.decided_ns) == (Outcome.FAILED, 1500 * MS, 1600 * MS)
    assert one.signals == {"w": "1.0", "x": "0.0"}


def test_never_two_things_stands_in_brackets():
    signals = '[vehicle]\nname = "v"\n[[bus]]\nname = "b"\ninterface = "virtual"\nchannel = "x"\n[signals]\n' + "".join(
        f'{name} = {{ from = "b.M.{name}" }}\n' for name in ("siren", "gear", "door")
    )
    rest = (
        "[[check]]\nname = '1'\nnever = \"siren and gear == 'P'\"\ngiven = 'door or siren'\n"
        "[[check]]\nname = '2'\nalways = \"siren\"\ngiven = 'not door'\n"
    )
    assert [expected(c) for c in loads(signals + rest).checks] == [
        "never (siren and gear == 'P'), given (door or siren)",
        "always siren, given not door",
    ]
