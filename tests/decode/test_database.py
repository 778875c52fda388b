"""Reading databases: formats, encodings, faults with their lines, what is refused and in which words."""

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busprobe.decode.database import load
from busprobe.decode.soundness import faults
from busprobe.errors import DatabaseError, FormatError, OpenError, Problems

DATA = Path(__file__).parent / "data"

MESSAGE = 'BO_ 256 DoorStatus: 8 Body\n SG_ Door : 0|2@1+ (1,0) [0|3] "" Body\n'


def write(tmp_path, text, name="van.dbc", encoding="utf-8"):
    path = tmp_path / name
    path.write_bytes(text.encode(encoding))
    return path


def signals(database):
    """message -> names of its signals that can be used"""
    return {m.name: [s.name for s in m.signals] for m in database.messages}


FAULTY = {
    9: 'Message "TooShort": signals "Sticks_out" and "Big_sticks_out" do not fit in 2 bytes; they are left out.',
    12: 'Message "Overlap": signals "First", "Second" and "Third" overlap; they are left out.',
    17: 'Message "Grouped": signal "Flags" covers "Low" and "High"; the signal is left out.',
    20: 'Message "SameIdentifier" has the identifier 0x100 of message "Sound"; it is left out.',
    22: 'Message "Sound" has the name of an earlier message; it is left out.',
    26: 'Message "Twice": 2 signals have the name "Name"; they are left out.',
    30: 'Message "Selected": signal "Lost" does not say which multiplexer selects it; the signal is left out.',
    32: 'Message "Chain": signal "Mode" does not fit in 2 bytes; the signal is left out.',
    33: 'Message "Chain": signal "Below" depends on the multiplexer "Mode", which is left out; the signal is left out.',
    35: 'Message "Long": signal "Long" is longer than 64 bits; the signal is left out.',
    36: 'Message "Long": signal "Small_real" is a floating-point number of a size other than 16, 32 or 64 bits; '
    "the signal is left out.",
}


def test_the_sound_part_of_a_faulty_database_is_used():
    database = load(DATA / "faulty.dbc")
    assert signals(database) == {
        "Sound": ["Door", "Speed"],
        "TooShort": ["Fits"],
        "Overlap": ["Alone"],
        "Grouped": ["Low", "High"],
        "Twice": ["Other"],
        "Selected": ["Mode"],
        "Chain": [],
        "Long": [],
    }
    assert database.message("Overlap").left_out == ("First", "Second", "Third")


def test_every_fault_is_told_with_its_line():
    problems = Problems()
    path = DATA / "faulty.dbc"
    database = load(path, problems)
    assert {p.line: p.message for p in database.faulty} == FAULTY
    assert problems.items == list(database.faulty)
    assert all(p.path == path for p in database.faulty)


BROKEN = {
    5: 'Message "Sound": "SG_ Half : 2|4@1+ (.5,0) [0|3] "" Engine" cannot be read from ".5,0) [0|3] "" Engine" on; '
    "the signal is left out.",
    6: 'Message "Sound": "SG_ 2nd : 8|4@1+ (1,0) [0|3] "" Engine" cannot be read from '
    '"2nd : 8|4@1+ (1,0) [0|3] "" Engine" on; the signal is left out.',
    7: 'Message "Sound": signal "Empty" has the start bit 12 and the length 0; the signal is left out.',
    8: 'Message "Sound": signal "Marked" has the unknown multiplexing mark "x3"; the signal is left out.',
    9: 'Message "Sound": signal "Kind" depends on line 43, which cannot be read; the signal is left out.',
    10: '"this line is junk" cannot be read; it is left out.',
    11: 'Message "BO_ 257 2fast: 8 Body" cannot be read from "2fast: 8 Body" on; it is left out with its signals.',
    13: 'Message "NoMark": identifier 0xCF00400 has more than 11 bits but no mark of a 29-bit one (bit 31); '
    "it is used as a 29-bit one.",
    15: 'Message "TooBig": identifier 0x40000000 has more than 29 bits; the message is left out.',
    21: 'Message "Wide": signal "Everywhere" is present for more than 10000 multiplexer values in one range; '
    "the signal is left out.",
    23: 'Message "Endless": 999999999 bytes are more than any message has; the message is left out.',
    26: 'Message "Far": signal "Away" has the start bit 9999999999 and the length 8; the signal is left out.',
    27: 'Message "Far": signal "Endless" has the start bit 0 and the length 9999999999; the signal is left out.',
    29: 'Message "Lost": "SG_ Outer M : 0|4@1+ (1,0) [0|15 "" Engine" cannot be read from """ Engine" on; '
    "the signal is left out.",
    30: 'Message "Lost": signal "Inner" depends on a multiplexer that is left out; the signal is left out.',
    31: 'Message "Lost": signal "Below" depends on a multiplexer that is left out; the signal is left out.',
    35: '"CM_ SG_ 256 "no name";" cannot be read from ""no name";" on; it is left out.',
    36: '"CM_ "no end"" ends too early; it is left out.',
    40: 'VAL_ names the signal "Missing" of message 256, which is not in the database; the line is left out.',
    41: 'VAL_ names the signal "Door" of message 999, which is not in the database; the line is left out.',
    43: '"SIG_VALTYPE_ 256 Kind 1;" cannot be read from "1;" on; it is left out.',
}


def test_a_database_that_cantools_refuses_as_a_whole():
    database = load(DATA / "broken.dbc")
    assert {p.line: p.message for p in database.faulty} == BROKEN
    assert signals(database) == {
        "Sound": ["Door"],
        "NoMark": ["Rpm"],
        "Wide": ["Select", "Somewhere"],
        "Far": [],
        "Lost": ["Always"],
    }
    assert database.message("Sound").signal("Door").choices == {0: "shut", 1: "open", 3: "SNA"}
    assert database.find(0xCF00400, True).signal("Rpm").not_available == (0xFFFF,)


def test_attributes_without_a_definition_cost_only_the_attributes(tmp_path):
    path = write(tmp_path, 'VERSION ""\n' + MESSAGE + 'BA_ "Nobody" BO_ 256 3;\nVAL_ 256 Door 1 "open" ;\n')
    database = load(path)
    (problem,) = database.faulty
    assert str(problem) == (
        f"{path}, line 1: The file cannot be read as a whole ('Nobody'); only messages, signals and labels are used, "
        "without cycle times and other attributes."
    )
    assert database.message("DoorStatus").signal("Door").label(1) == "open"


def test_strict_stops_at_the_first_fault():
    with pytest.raises(FormatError) as caught:
        load(DATA / "faulty.dbc", Problems(strict=True))
    assert str(caught.value) == f"{DATA / 'faulty.dbc'}, line 9: {FAULTY[9]}\nStopped here because of --strict."


def test_a_message_is_found_by_name_and_by_identifier():
    database = load(DATA / "faulty.dbc")
    assert database.find(256, False) is database.message("Sound")
    assert database.find(256, True) is None
    assert database.message("Nobody") is None
    assert database.message("Sound").signal("Nobody") is None


@pytest.mark.parametrize("suffix", ["kcd", "sym", "arxml"])
def test_other_formats(suffix):
    database = load(DATA / f"door.{suffix}")
    (message,) = database.messages
    assert (message.name, message.identifier, message.is_extended, message.length) == ("DoorStatus", 256, False, 8)
    door = message.signal("Door")
    assert (door.start, door.length, door.signed) == (0, 2, False)
    if suffix != "arxml":
        assert dict(door.choices) == {0: "shut", 1: "open", 3: "not available"}
        assert door.not_available == (3,)
        temperature = message.signal("Temperature")
        assert (temperature.scale, temperature.offset, temperature.unit) == (0.5, -40.0, "°C")
        assert message.cycle_time_ns == 100_000_000


def test_content_decides_not_the_suffix(tmp_path):
    assert load(write(tmp_path, MESSAGE, "van.txt")).message("DoorStatus")
    assert load(write(tmp_path, (DATA / "door.kcd").read_text("utf-8"), "van.dbc")).message("DoorStatus")


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16"])
def test_encodings(tmp_path, encoding):
    text = 'VERSION ""\n' + MESSAGE.replace('""', '"°C"')
    assert load(write(tmp_path, text, encoding=encoding)).message("DoorStatus").signal("Door").unit == "°C"


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_line_ends(tmp_path, end):
    text = (MESSAGE + ' SG_ Out : 60|8@1+ (1,0) [0|3] "" Body\n').replace("\n", end)
    database = load(write(tmp_path, text))
    assert [p.line for p in database.faulty] == [3]
    assert signals(database) == {"DoorStatus": ["Door"]}


def test_multiplexing():
    database = load(DATA / "multiplexed.dbc")
    assert not database.faulty
    simple, nested = database.messages
    assert {s.name: s.multiplexer for s in simple.signals} == {
        "Mode": (),
        "Left": (("Mode", ((0, 0),)),),
        "Right": (("Mode", ((1, 1),)),),
        "Always": (),
    }
    assert {s.name: s.multiplexer for s in nested.signals} == {
        "Outer": (),
        "Inner": (("Outer", ((1, 1),)),),
        "Several": (("Outer", ((0, 0), (2, 4), (6, 6))),),
        "Deep": (("Outer", ((1, 1),)), ("Inner", ((5, 7),))),
    }
    assert [s.name for m in database.messages for s in m.signals if s.is_multiplexer] == ["Mode", "Outer", "Inner"]


def test_j1939_codes_and_cycle_times():
    """Codes by size: SAE J1939-71, from memory. A database's own meaning for such a value stands."""
    database = load(DATA / "heavy.dbc")
    temperature, switches = database.messages
    assert temperature.is_j1939
    assert {s.name: s.not_available_from for s in temperature.signals} == {
        "Coolant": 0xFE, "Oil": 0xFE00, "Fan": 2,
    }  # fmt: skip
    assert {s.name: s.not_available_from for s in switches.signals} == {
        "Park_brake": 2, "Hazard": None, "Range": 14, "Odd": None, "Hours": 0xFE000000,
    }  # fmt: skip
    assert switches.signal("Park_brake").not_available == (2, 3)
    assert temperature.cycle_time_ns == 1_000_000_000
    assert switches.cycle_time_ns is None, "sent on change"
    assert temperature.comment == "Made up, in the manner of J1939-71."


def test_labels_are_matched_by_their_bits(tmp_path):
    """A signed signal of 4 bits: 15 in VAL_ is the raw value -1, 200 cannot occur."""
    text = 'BO_ 256 A: 8 Body\n SG_ S : 0|4@1- (1,0) [0|0] "" Body\n SG_ U : 8|4@1+ (1,0) [0|0] "" Body\n'
    database = load(write(tmp_path, text + 'VAL_ 256 S 15 "SNA" 1 "on" 200 "x" ;\nVAL_ 256 U -1 "SNA" 1 "on" ;\n'))
    signed, unsigned = database.messages[0].signals
    assert (dict(signed.choices), signed.not_available) == ({-1: "SNA", 1: "on"}, (-1,))
    assert (dict(unsigned.choices), unsigned.not_available) == ({15: "SNA", 1: "on"}, (15,))


def test_signals_that_no_message_carries_are_passed_over(tmp_path):
    text = 'BO_ 3221225472 VECTOR__INDEPENDENT_SIG_MSG: 0 X\n SG_ Spare : 0|8@1+ (1,0) [0|0] "" X\n'
    database = load(write(tmp_path, MESSAGE + text + 'VAL_ 3221225472 Spare 0 "x" ;\n'))
    assert signals(database) == {"DoorStatus": ["Door"]}
    assert not database.faulty


NO_MESSAGE = "The database has no message that can be used."
FIRST_OF_TWO = (
    'First of 2 problems: {path}, line 1: Message "Huge": identifier 0x40000000 has more than 29 bits; '
    "the message is left out."
)
NO_DATABASE = "This is not a signal database.\nDatabases in DBC, KCD, SYM and ARXML format can be used."
KCD = b'<NetworkDefinition xmlns="http://kayak.2codeornot2code.org/1.0"><Bus name="B">'

REFUSED = [
    ("junk", b"\x00\xff\x13junk\n" * 20, DatabaseError, NO_DATABASE),
    ("another text", b"just some words\n", DatabaseError, NO_DATABASE),
    ("another XML", b"<html></html>", DatabaseError, NO_DATABASE),
    ("empty", b" \n", OpenError, "The database file is empty."),
    ("no message", b'VERSION ""\nBU_: Body\n', DatabaseError, NO_MESSAGE),
    (
        "no sound message",
        b"BO_ 1073741824 Huge: 8 Body\nBO_ 1073741825 Huger: 8 Body\n",
        DatabaseError,
        f"{NO_MESSAGE}\n{FIRST_OF_TWO}",
    ),
    (
        "broken KCD",
        KCD,
        DatabaseError,
        "The KCD database cannot be read: no element found: line 1, column 78.",
    ),
    (
        "diagnostic descriptions",
        b'<?xml version="1.0"?><CANDELA></CANDELA>',
        DatabaseError,
        "This file describes diagnostic services, not the messages of a bus.",
    ),
]


@pytest.mark.parametrize(("content", "error", "text"), [row[1:] for row in REFUSED], ids=[row[0] for row in REFUSED])
def test_refused(tmp_path, content, error, text):
    path = tmp_path / "van.dbc"
    path.write_bytes(content)
    with pytest.raises(error) as caught:
        load(path)
    assert str(caught.value) == f"{path}: {text.format(path=path)}"


def test_syntax_error_in_another_format_has_its_line(tmp_path):
    path = write(tmp_path, 'FormatVersion=6.0 // Do not edit this line!\nTitle="x"\n\n{NONSENSE}\n', "van.sym")
    with pytest.raises(DatabaseError) as caught:
        load(path)
    assert str(caught.value) == f"{path}, line 4: The SYM database cannot be read: its syntax is broken at column 1."


def test_missing_file(tmp_path):
    path = tmp_path / "van.dbc"
    with pytest.raises(OpenError) as caught:
        load(path)
    assert str(caught.value) == f"{path}: There is no such database file.\nCheck the name and the folder."


def test_missing_file_names_the_nearest(tmp_path):
    for name in ("patrol_van.dbc", "patrol_vam.toml"):
        (tmp_path / name).touch()
    with pytest.raises(OpenError) as caught:
        load(tmp_path / "patrol_vam.dbc")
    assert caught.value.hint == 'Check the name and the folder. Nearest known name: "patrol_van.dbc".'


def test_directory(tmp_path):
    with pytest.raises(OpenError) as caught:
        load(tmp_path)
    assert str(caught.value) == f"{tmp_path}: This is a directory, not a database file."


@settings(deadline=None, derandomize=True)
@given(
    st.sampled_from(["broken.dbc", "faulty.dbc", "multiplexed.dbc", "heavy.dbc"]),
    st.lists(
        st.tuples(st.floats(0, 1), st.integers(0, 40), st.text('0159 mM@|:;"-+.\nSG_BOx', max_size=6)), max_size=4
    ),
)
def test_a_damaged_database_is_read_or_refused(tmp_path_factory, name, edits):
    """Never another error, and nothing unsound gets through."""
    text = (DATA / name).read_text("utf-8")
    for share, cut, new in edits:
        begin = int(share * len(text))
        text = text[:begin] + new + text[begin + cut :]
    path = write(tmp_path_factory.getbasetemp(), text, "damaged.dbc")
    try:
        database = load(path)
    except (DatabaseError, OpenError):
        return
    for message in database.messages:
        assert not faults(message.length, message.signals)
        assert not {s.name for s in message.signals} & set(message.left_out)
    assert len({(m.identifier, m.is_extended) for m in database.messages}) == len(database.messages)
