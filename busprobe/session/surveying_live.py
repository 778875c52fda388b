"""`survey live`: what is on the buses and boxes of a bench file now."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from busprobe.analysis.obd_seen import ObdTally
from busprobe.analysis.survey import Survey
from busprobe.analysis.survey_report import SurveyReport
from busprobe.decode.obd import Listener
from busprobe.errors import Problems
from busprobe.frames import FrameBatch, InputBatch
from busprobe.session.described import describe
from busprobe.session.live_bench import LiveOptions, Show, run_live
from busprobe.session.obd_tally import tell
from busprobe.session.surveying import report_of, spanning
from busprobe.session.verifying import load_plan


def survey_live(bench: Path, options: LiveOptions, show: Show | None = None) -> SurveyReport:
    """Survey the live buses and boxes of a bench file."""
    described = describe(bench, (), None)
    gathered, tally, listener = Survey(), ObdTally(), Listener()

    def observe(batch: FrameBatch | InputBatch) -> None:
        gathered.add(batch)
        if isinstance(batch, FrameBatch):
            tell(tally, listener.feed(batch))

    plan, databases = load_plan(bench)
    outcome = run_live(plan, databases, options, show=show, observers=(observe,))
    name = options.record.name if options.record is not None else "live"
    report = report_of(name, gathered, tally, listener, described, Problems())
    result = spanning(report.result, outcome.run.start_ns, outcome.results.end_ns)
    return replace(report, result=result, notes=(*report.notes, *outcome.notes()))
