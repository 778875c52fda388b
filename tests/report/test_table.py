"""Tables of plain text."""

from busprobe.report.table import Column, paragraph, table


def test_columns_wrap_and_numbers_stand_right() -> None:
    lines = table(
        (Column("check", wrap=12), Column("n", right=True), Column("empty")),
        [("Rear white lamp follows", "3", ""), ("Siren", "12", "")],
    )
    assert lines == [
        "check          n",
        "------------  --",
        "Rear white     3",
        "lamp follows",
        "Siren         12",
    ]


def test_no_rows_make_no_table() -> None:
    assert table((Column("check"),), []) == []


def test_paragraph_is_indented() -> None:
    assert paragraph("one two three", indent=2, width=9) == ["  one two", "  three"]
