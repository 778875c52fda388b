"""`busprobe wiring`."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

BOX = """
[[inputs]]
name = "box"
driver = "text-lines"
port = "/dev/ttyACM0"
[[inputs.line]]
name = "rear_door_pin"
number = 3
"""


def test_the_note_of_a_bench_file(busprobe: Callable[[str], Any], folder: Path) -> None:
    bench = folder / "boxed.toml"
    bench.write_text((folder / "van.toml").read_text() + BOX)
    said = busprobe("wiring --bench boxed.toml")
    assert (said.status, said.err) == (0, "")
    assert said.out.startswith("Wiring for Roads patrol van 12\n")
    assert 'Input box "box": text-lines on "/dev/ttyACM0", every 10 ms' in said.out


def test_a_bench_file_that_is_not_there(busprobe: Callable[[str], Any]) -> None:
    said = busprobe("wiring --bench other.toml")
    assert (said.status, said.out, said.err) == (
        3,
        "",
        'other.toml: There is no such bench file.\nCheck the name and the folder. Nearest known name: "van.toml".\n',
    )


def test_help_has_an_example(busprobe: Callable[[str], Any]) -> None:
    said = busprobe("wiring --help")
    assert said.status == 0
    assert "busprobe wiring --bench" in said.out.split("Example")[1]
