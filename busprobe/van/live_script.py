"""A script of faults for the live van.

    [[fault]]
    at = "12 s"                  # after the start of the simulation
    fault = "late rear white"
    for = "5 s"                  # left out: until the end

TOML 1.0, https://toml.io/en/v1.0.0.
"""

from __future__ import annotations

import tomllib
from pathlib import Path

from busprobe.bench.places import find_places
from busprobe.bench.section import Section
from busprobe.errors import BenchError, OpenError
from busprobe.van.live_faults import FOR_EVER_NS, Spell, live_fault

_KEYS = ("at", "fault", "for")


def read_script(path: Path) -> tuple[Spell, ...]:
    """The spells of a script, in ns since the start of the simulation.

    Raises OpenError, or BenchError at the first thing wrong in it.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        reason = error.strerror if isinstance(error, OSError) else "it is not UTF-8 text"
        raise OpenError(f"The script cannot be read: {reason}.", path=path) from None
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise BenchError(f"This is no valid TOML: {error}.", path=path) from None
    root = Section(data, "the script", (), find_places(text, path))
    root.refuse_unknown(("fault",))
    return tuple(_spell(section) for section in root.tables("fault", "fault"))


def _spell(section: Section) -> Spell:
    section.refuse_unknown(_KEYS)
    from_ns = section.must_duration("at")
    length_ns = section.duration("for", above_zero=True)
    try:
        fault = live_fault(section.must_text("fault"))
    except BenchError as error:
        if error.path is not None:
            raise
        raise section.error(error.message, "fault", hint=error.hint) from None
    return Spell(fault, from_ns, FOR_EVER_NS if length_ns is None else from_ns + length_ns)
