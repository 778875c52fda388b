"""Rules that are kept are those that reading all of the style sheets anew gives."""

from fake_scene import FakeScene
from textual.css.stylesheet import Stylesheet

from busprobe.tui.app import BusprobeApp
from busprobe.tui.kept_rules import KeptRules
from busprobe.tui.themes import NAMES


def said(sheet: Stylesheet) -> list[str]:
    return [f"{rule.selectors} {dict(rule.styles.get_rules())}" for rule in sheet.rules]


def anew(kept: Stylesheet) -> list[str]:
    fresh = kept.copy()
    assert type(fresh) is Stylesheet
    fresh.parse()
    return said(fresh)


async def test_on_every_screen_in_every_theme(live: FakeScene) -> None:
    app = BusprobeApp(live)
    seen = set()
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        assert isinstance(app.stylesheet, KeptRules)
        for theme in NAMES:
            app.theme = theme
            for key in "12345":
                await pilot.press(key)
                await pilot.pause()
                assert said(app.stylesheet) == anew(app.stylesheet)
            seen.add(tuple(said(app.stylesheet)))
    assert len(seen) == len(NAMES)


def test_what_is_known_is_not_read_again() -> None:
    sheet = KeptRules(variables={"shade": "red"})
    sheet.add_source("Label { color: $shade; }")
    sheet.reparse()
    (known,) = sheet.rules
    sheet.set_variables({"shade": "red"})
    sheet.reparse()
    assert sheet.rules[0] is known
    sheet.set_variables({"shade": "blue"})
    sheet.reparse()
    assert "#0000FF" in sheet.css
