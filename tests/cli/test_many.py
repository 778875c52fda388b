"""Several values after one option."""

import click
import pytest

from busprobe.cli.many import spread

OPTIONS = {
    "--database": click.Option(["--database"], multiple=True),
    "--bench": click.Option(["--bench"]),
    "--strict": click.Option(["--strict"], is_flag=True),
}
ROWS = [
    ("one value", "a.log --database x.dbc", "a.log --database x.dbc"),
    ("two values", "a.log --database x.dbc y.dbc", "a.log --database x.dbc --database y.dbc"),
    ("given again", "a.log --database x.dbc --database y.dbc", "a.log --database x.dbc --database y.dbc"),
    (
        "an option ends them",
        "a.log --database x.dbc y.dbc --strict",
        "a.log --database x.dbc --database y.dbc --strict",
    ),
    ("the argument last", "--database x.dbc a.log", "--database x.dbc a.log"),
    ("with an equals sign", "a.log --database=x.dbc y.dbc", "a.log --database=x.dbc --database y.dbc"),
    ("an option with one value", "a.log --bench b.toml", "a.log --bench b.toml"),
    ("a value too many", "a.log --bench b.toml c.toml", "a.log --bench b.toml c.toml"),
    ("no value", "a.log --database", "a.log --database"),
    ("after two dashes nothing is spread", "a.log --database x.dbc -- y.dbc", "a.log --database x.dbc -- y.dbc"),
]


@pytest.mark.parametrize(("words", "out"), [row[1:] for row in ROWS], ids=[row[0] for row in ROWS])
def test_spread(words: str, out: str) -> None:
    assert spread(words.split(), OPTIONS) == out.split()
