"""A search for the bit rate of a bus, as lines of text."""

from __future__ import annotations

from busprobe.errors import counted
from busprobe.report.advice import nothing_heard_lines
from busprobe.report.table import paragraph
from busprobe.sources.drivers import NO_ERROR_FRAMES
from busprobe.sources.rate_finder import Heard, RateSearch, Verdict


def heard_line(heard: Heard) -> str:
    """One bit rate as it was listened to."""
    rate = f"{rate_text(heard.rate):>12}"
    if heard.verdict is Verdict.NOT_POSSIBLE:
        return f"{rate}  {heard.verdict}"
    good, errors = counted(heard.good, "good frame"), counted(heard.errors, "error frame")
    return f"{rate}  {good:>16}, {errors:>17}  {heard.verdict}"


def rate_text(rate: int) -> str:
    """A bit rate with its unit: 83.3 kbit/s."""
    return f"{rate / 1000:.4g} kbit/s"


def search_lines(search: RateSearch, interface: str) -> list[str]:
    """What the search came to, and what to do next."""
    if search.rate is not None:
        return ["", f"The bus runs at {rate_text(search.rate)}: write bitrate = {search.rate} in its [[bus]]."]
    if not search.is_silent:
        text = (
            "There is traffic, but none of these bit rates fits it. It may be another kind of bus (one wire, "
            "fault-tolerant), a wire may be loose, or another adapter may listen at a wrong rate and disturb it."
        )
        return ["", *paragraph(text)]
    text = "Silence at every bit rate. That says nothing of the bit rate."
    if interface in NO_ERROR_FRAMES:
        text += f' ("{interface}" passes no error frames on: at a wrong rate it is silent too.)'
    return ["", *paragraph(text), "", *nothing_heard_lines(rates_tried=True)]
