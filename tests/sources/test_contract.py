"""Runs the rules of `contract` over every format of the table."""

import tempfile
from pathlib import Path

import contract
import pytest
from contract import SAMPLES
from hypothesis import given, settings
from hypothesis import strategies as st

from busprobe.sources import FORMATS

every_format = pytest.mark.parametrize("fmt", FORMATS, ids=lambda fmt: fmt.name)


def test_every_format_has_a_sample():
    assert {fmt.name for fmt in FORMATS} == set(SAMPLES)


def test_every_suffix_of_a_sample_is_in_the_table():
    for fmt in FORMATS:
        assert SAMPLES[fmt.name].suffix in fmt.suffixes


@every_format
@settings(max_examples=50, deadline=None, derandomize=True)
@given(data=st.data())
def test_random_frames(fmt, data):
    sample = SAMPLES[fmt.name]
    messages = data.draw(contract.messages_of(sample))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"random{sample.suffix}"
        contract.equals_python_can(fmt, sample, path, messages)
        contract.batches_make_the_whole(fmt, sample, path, messages)
        contract.payload_past_the_length_is_zero(fmt, sample, path, messages)


@every_format
@pytest.mark.parametrize(
    "rule",
    [
        contract.batches_are_about_as_large_as_asked,
        contract.share_rises_to_one,
        contract.channels_only_grow,
        contract.is_complete_to_the_newest_frame,
        contract.cut_file_loses_its_last_record_only,
        contract.strict_stops_at_the_first_damage,
        contract.arrays_have_the_types_of_a_batch,
    ],
    ids=lambda rule: rule.__name__,
)
def test_rule(fmt, rule, tmp_path):
    sample = SAMPLES[fmt.name]
    rule(fmt, sample, tmp_path / f"drive{sample.suffix}")


@every_format
def test_empty_file_has_no_frames(fmt, tmp_path):
    contract.empty_file_has_no_frames(fmt, tmp_path / "empty.log")


@every_format
def test_only_this_format_claims_it(fmt, tmp_path):
    contract.only_this_format_claims_it(fmt, FORMATS, SAMPLES[fmt.name], tmp_path / "drive")
