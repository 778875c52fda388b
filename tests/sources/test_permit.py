"""Leave to send: only where the bench file and the command line both want it."""

import dataclasses
from pathlib import Path

import pytest

from busprobe.bench.load import load
from busprobe.bench.model import Bus, Origin
from busprobe.errors import DeviceError
from busprobe.sources.permit import SendPermit, permit_requests

OPEN = Bus("body", listen_only=False, origin=Origin(Path("van.toml"), 3))


def test_both_wanted():
    assert permit_requests(OPEN, True) == SendPermit("body", "standard OBD requests")


@pytest.mark.parametrize("allow_requests", [False, True], ids=["without the option", "with the option"])
def test_a_listen_only_bus_is_never_asked(allow_requests):
    with pytest.raises(DeviceError) as caught:
        permit_requests(dataclasses.replace(OPEN, listen_only=True), allow_requests)
    assert str(caught.value) == (
        'van.toml, line 3: The bus "body" is listen-only: nothing is ever sent on it.\n'
        'To ask for OBD data there, write "listen_only = false" in this [[bus]] and give --allow-requests.'
    )


def test_without_the_option():
    with pytest.raises(DeviceError) as caught:
        permit_requests(OPEN, False)
    assert str(caught.value) == (
        'Nothing is asked on the bus "body" without --allow-requests.\n'
        "With it, busprobe sends standard OBD requests there (services 01, 03, 07, 09 and 0A), at most 10 a second."
    )


def test_a_bus_is_listen_only_unless_the_bench_file_says_otherwise(tmp_path):
    file = tmp_path / "van.toml"
    file.write_text('[vehicle]\nname = "van"\n[[bus]]\nname = "body"\n', encoding="utf-8")
    (bus,) = load(file).buses
    with pytest.raises(DeviceError, match="listen-only"):
        permit_requests(bus, True)


def test_a_permit_cannot_be_changed():
    with pytest.raises(dataclasses.FrozenInstanceError):
        permit_requests(OPEN, True).bus = "engine"
