"""Faults of the live van: names, scripts, and that each changes its own data and nothing before it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from busprobe.bench.load import load
from busprobe.decode.database import load as load_database
from busprobe.engine.engine import Engine
from busprobe.engine.plan import build
from busprobe.errors import BusprobeError
from busprobe.frames import FrameBatch, InputBatch
from busprobe.results import Verdict
from busprobe.van.box import WIRES
from busprobe.van.generate import batches
from busprobe.van.live_faults import FOR_EVER_NS, KEYS, LIVE_FAULTS, Kind, Spell, live_fault, refuse_contradictions
from busprobe.van.live_plan import LATE_BY_NS, Plan, plan
from busprobe.van.live_script import read_script
from busprobe.van.live_status import QUIT, state_text
from busprobe.van.samples import BENCH_FILE, DATABASE_FILE
from busprobe.van.schedule import Schedule
from busprobe.van.script import END_NS
from busprobe.van.steps import Steps, ns, replaced, simplified, steps_of
from busprobe.van.traffic import NO_MESSAGE

SAMPLES = Path(__file__).parents[2] / "dbc_samples"


@pytest.fixture(scope="module")
def faultless() -> Plan:
    return plan(1)


def level(made: Plan, wire: str) -> Steps:
    """A wire: 1 where it is active."""
    number = next(k for k, w in enumerate(WIRES) if w.name == wire)
    return simplified(made.levels.t_ns, (made.levels.values >> number & 1) ^ int(WIRES[number].active_low))


def spell(name: str, from_s: float, to_s: float) -> Spell:
    return Spell(live_fault(name), ns(from_s), ns(to_s))


def test_without_faults_the_live_drive_is_the_offline_one(good, faultless):
    for field in ("t_ns", "identifier", "length", "payload"):
        assert np.array_equal(getattr(good.frames, field), getattr(faultless.frames, field)), field
    assert np.array_equal(good.polls.mask, faultless.polls.mask)
    assert np.array_equal(good.polls.analogue, faultless.polls.analogue)


@pytest.mark.parametrize("name", [fault.name for fault in KEYS.values()] + ["late siren", "stuck on beacon left"])
def test_nothing_before_a_fault_depends_on_it_nor_on_when_it_ends(name, faultless):
    """The van may plan a cycle again while it is driving it."""
    at_s, end_s = 230.0, 304.0
    short, long = plan(1, [spell(name, at_s, end_s)]), plan(1, [Spell(live_fault(name), ns(at_s), END_NS)])
    assert not same_until(short, faultless, END_NS)
    assert same_until(short, faultless, ns(at_s))
    assert same_until(short, long, ns(end_s))


def same_until(one: Plan, other: Plan, t_ns: int) -> bool:
    def parts(made: Plan) -> list[np.ndarray]:
        frames = made.frames.take(made.frames.t_ns < t_ns)
        polls = made.polls.t_ns < t_ns
        changes = made.levels.t_ns < t_ns
        return [frames.t_ns, frames.payload, made.polls.analogue[polls], made.levels.values[changes]]

    return all(np.array_equal(a, b) for a, b in zip(parts(one), parts(other), strict=True))


def test_late_output_changes_a_second_later(faultless):
    made = plan(1, [spell("late rear white", 200, 300)])
    before, after = level(faultless, "rear_white").t_ns, level(made, "rear_white").t_ns
    moved = (before >= ns(200)) & (before < ns(300))
    assert moved.sum() == 2
    assert np.array_equal(after, before + np.where(moved, LATE_BY_NS, 0))


@pytest.mark.parametrize(("name", "value"), [("stuck on siren", 1), ("stuck off siren", 0)])
def test_stuck_output(name, value, faultless):
    made = level(plan(1, [spell(name, 70, 77)]), "siren")
    times = np.arange(0, END_NS, ns(0.01))
    inside = (times >= ns(70)) & (times < ns(77))
    assert (made.at(times[inside]) == value).all()
    assert np.array_equal(made.at(times[~inside]), level(faultless, "siren").at(times[~inside]))


def test_lost_message_is_silent_and_counts_on(faultless):
    lost = plan(1, [spell("lost BrakeStatus", 100, 103)]).frames
    times = lost.stamps("BrakeStatus")
    assert not ((times >= ns(100)) & (times < ns(103))).any()
    assert len(faultless.frames.t_ns) - len(lost.t_ns) == 75  # 3 s of a message every 40 ms
    after = faultless.frames.take(faultless.frames.t_ns >= ns(103))
    assert np.array_equal(lost.payload[lost.t_ns >= ns(103)], after.payload)


def test_silent_bus_and_unplugged_tester(faultless):
    silent = plan(1, [spell("bus silent", 100, 103)]).frames
    assert not ((silent.t_ns >= ns(100)) & (silent.t_ns < ns(103))).any()
    unplugged = plan(1, [spell("tester unplugged", 100, 600)]).frames
    talk = unplugged.t_ns[unplugged.message == NO_MESSAGE]
    assert ns(99) < talk[-1] < ns(100)
    others = faultless.frames.take(faultless.frames.message != NO_MESSAGE)
    assert np.array_equal(unplugged.t_ns[unplugged.message != NO_MESSAGE], others.t_ns)


def test_chattering_contact_changes_all_the_time_and_comes_to_rest(faultless):
    made = level(plan(1, [spell("chatter side door", 300, 302)]), "side_door_pin")
    changes = made.t_ns[(made.t_ns >= ns(300)) & (made.t_ns < ns(302))]
    assert len(changes) > 80
    assert np.diff(changes).max() < ns(0.04)
    times = np.arange(ns(302), END_NS, ns(0.01))
    assert np.array_equal(made.at(times), level(faultless, "side_door_pin").at(times))


def test_low_battery_is_seen_on_wire_and_bus_and_sheds_the_feed():
    made = plan(1, [spell("low battery", 300, 330)])
    volts = made.polls.analogue[:, 0] / 1000
    inside = (made.polls.t_ns >= ns(300)) & (made.polls.t_ns < ns(330))
    assert volts[inside].max() < 11.8
    feed = made.polls.analogue[inside, 1]
    assert feed[0] > 10_000
    assert feed[-1] < 500
    raw = made.frames.payload[made.frames.carries("BatteryStatus")] & np.uint64(0xFFF)
    stamps = made.frames.stamps("BatteryStatus")
    assert (raw[(stamps > ns(301)) & (stamps < ns(329))] < 1180).all()


FINDS = [
    # fault, from, to, checks that fail, checks that are undecided
    ("late rear white", 230, 262, {"Rear white lamp follows reverse", "Rear white lamp dark outside reverse"}, set()),
    ("stuck off strip", 220, 262, {"Work lamp strip follows the side door"}, set()),
    ("stuck on siren", 150, 156, {"Siren silent in park"}, set()),
    ("lost TransmissionStatus", 236, 240, set(), {"Rear white lamp dark outside reverse"}),
    ("chatter rear door", 374, 377, set(), {"Door alert silent with the doors shut"}),
    ("low battery", 230, 262, set(), set()),
]


@pytest.mark.parametrize(("name", "from_s", "to_s", "failed", "undecided"), FINDS)
def test_what_the_bench_file_finds(name, from_s, to_s, failed, undecided):
    """Live faults seen by the checks of the shipped bench file."""
    bench = load(SAMPLES / BENCH_FILE)
    engine = Engine(build(bench, {"body": [load_database(SAMPLES / DATABASE_FILE)]}), ["states", "body", "box"])
    made = plan(2, [spell(name, from_s, to_s)])
    for batch in batches(made.frames, made.polls):
        source = "body" if isinstance(batch, FrameBatch) else "box" if isinstance(batch, InputBatch) else "states"
        engine.push(source, batch)
    results = engine.finish()
    assert {c.name for c in results.checks if c.verdict is Verdict.FAIL} == failed
    assert {c.name for c in results.checks if c.verdict is Verdict.UNDECIDED} == undecided


def test_every_fault_is_found_by_its_name():
    for name, fault in LIVE_FAULTS.items():
        assert fault.name == name
        assert live_fault(name.upper().replace(" ", "_")) == fault
    assert QUIT not in KEYS


def test_unknown_fault_gets_the_nearest_name():
    with pytest.raises(BusprobeError) as error:
        live_fault("late rear whte")
    assert str(error.value) == (
        'Unknown fault "late rear whte". Nearest known name: "late rear white".\n'
        'Faults: "late OUTPUT", "stuck on OUTPUT", "stuck off OUTPUT", "lost MESSAGE", "chatter CONTACT", '
        '"low battery", "bus silent", "tester unplugged" (only the other tester\'s OBD requests end).'
    )


def test_an_output_is_not_stuck_on_and_off_at_a_time():
    refuse_contradictions([spell("stuck on siren", 1, 2), spell("stuck off siren", 2, 3)])
    refuse_contradictions([spell("stuck on siren", 1, 3), spell("stuck off strip", 2, 3), spell("low battery", 0, 9)])
    with pytest.raises(BusprobeError) as error:
        refuse_contradictions([spell("stuck off siren", 2, 4), spell("stuck on siren", 1, 3)])
    assert str(error.value) == (
        '"stuck on siren" and "stuck off siren" contradict each other: they are set at the same time.\n'
        "Leave one of them out, or give them times that do not overlap, in a script."
    )


def test_readme_names_every_kind_of_fault():
    readme = (SAMPLES.parent / "README.md").read_text(encoding="utf-8")
    assert [kind.value for kind in Kind if f"`{kind.value}" not in readme] == []


def test_script(tmp_path):
    file = tmp_path / "faults.toml"
    file.write_text(
        '[[fault]]\nat = "12 s"\nfault = "late rear white"\nfor = "5 s"\n[[fault]]\nat = "0 s"\nfault = "low battery"\n'
    )
    assert read_script(file) == (
        spell("late rear white", 12, 17),
        Spell(LIVE_FAULTS["low battery"], 0, FOR_EVER_NS),
    )


BAD_SCRIPTS = [
    ('[[fault]]\nat = "1 s"\nfault = "low batery"\n', 'line 3, column 10: Unknown fault "low batery". Nearest known'),
    ('[[fault]]\nfault = "low battery"\n', 'line 1, column 1: [[fault]] number 1 has no "at".'),
    ('[[fault]]\nat = "soon"\nfault = "low battery"\n', 'line 2, column 7: "soon" is no duration'),
    ('[[fault]]\nat = "1 s"\n', 'line 1, column 1: [[fault]] number 1 has no "fault".'),
    ('[[fault]]\nat = "1 s"\nfault = "low battery"\nuntil = "9 s"\n', 'line 4, column 1: Unknown key "until"'),
    ("[fault]\n", 'line 1, column 2: "fault" must be a list of tables: write [[fault]] above each.'),
    ("[[check]]\n", "line 1, column 3: Unknown table [check] in the script."),
    ("fault = \n", "This is no valid TOML: Invalid value (at line 1, column 9)."),
]


@pytest.mark.parametrize(("text", "message"), BAD_SCRIPTS)
def test_bad_script(text, message, tmp_path):
    file = tmp_path / "faults.toml"
    file.write_text(text)
    with pytest.raises(BusprobeError) as error:
        read_script(file)
    assert message in str(error.value)
    assert str(error.value).startswith(str(file))


def test_missing_script(tmp_path):
    with pytest.raises(BusprobeError, match=r"none\.toml: The script cannot be read: No such file or directory\."):
        read_script(tmp_path / "none.toml")


def test_replaced_steps():
    base, inner = steps_of([(10, 1), (50, 0)]), steps_of([(15, 1), (20, 0), (25, 1)])
    made = replaced(base, 12, 30, inner)
    assert list(zip(made.t_ns.tolist(), made.values.tolist(), strict=True)) == [
        (0, 0), (10, 1), (12, 0), (15, 1), (20, 0), (25, 1), (50, 0),
    ]  # fmt: skip


def test_schedule_goes_round_and_round():
    schedule = Schedule(1)
    first = schedule.piece(ns(120), ns(0.05))
    second = schedule.piece(END_NS + ns(120), ns(0.05))
    assert second.end_ns == END_NS + ns(120.05)
    assert np.array_equal(second.frames.t_ns, first.frames.t_ns + END_NS)
    assert np.array_equal(second.frames.payload, first.frames.payload)
    assert schedule.piece(END_NS - ns(0.02), ns(0.05)).end_ns == END_NS


def test_pieces_give_every_frame_once(faultless):
    schedule = Schedule(1)
    begin, end, seen = ns(100.013), ns(101), []
    while begin < end:
        piece = schedule.piece(begin, ns(0.05))
        seen += piece.frames.t_ns.tolist()
        begin = piece.end_ns
    stamps = faultless.frames.t_ns
    assert seen == stamps[(stamps >= ns(100.013)) & (stamps < begin)].tolist()


def test_schedule_sets_a_fault_and_takes_it_back():
    schedule = Schedule(1, [spell("low battery", 10, 20)])
    silent = LIVE_FAULTS["bus silent"]
    schedule.prepare(ns(100))
    schedule.toggle(silent, ns(100))
    assert schedule.active(ns(99.9)) == []
    assert schedule.active(ns(101)) == [silent]
    assert not len(schedule.piece(ns(100), ns(1)).frames.t_ns)
    schedule.toggle(silent, ns(102))
    assert schedule.active(ns(102)) == []
    assert not len(schedule.piece(ns(101), ns(1)).frames.t_ns)
    assert len(schedule.piece(ns(102), ns(1)).frames.t_ns) > 250
    assert [fault.name for fault in schedule.active(ns(15))] == ["low battery"]
    assert schedule.active(END_NS + ns(15)) == []


def test_levels_are_those_of_the_polls(faultless):
    schedule = Schedule(1)
    for row in np.searchsorted(faultless.polls.t_ns, [ns(30), ns(75), ns(130), ns(240), ns(468)]):
        mask, millivolts = schedule.levels_at(int(faultless.polls.t_ns[row]))
        assert mask == int(faultless.polls.mask[row])
        assert millivolts == tuple(faultless.polls.analogue[row].tolist())


def test_status():
    schedule = Schedule(1, [spell("late siren", 230, 240)])
    assert state_text(schedule, ns(2)) == "gear P  doors shut  bus asleep  faults: none"
    assert state_text(schedule, ns(235.5)) == "gear R  side door open  bus awake  faults: late siren"
