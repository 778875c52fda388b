"""The faults of the simulated van, set from the dashboard."""

from __future__ import annotations

from fake_scene import FakeScene

from busprobe.tui.app import BusprobeApp
from busprobe.tui.screens.cautions import Cautions
from busprobe.tui.screens.state import StateBoard
from busprobe.tui.screens.van import LOOK_S, VanFaults
from busprobe.tui.view.spans import plain
from busprobe.tui.view.van import fault_rows
from busprobe.tui.widgets.rows import Rows

SIZE = (80, 24)


class FakeVan:
    """Notes what is set."""

    def __init__(self) -> None:
        self.faults = ("late rear white", "bus silent")
        self.faults_set: set[str] = set()
        self.trouble = ""

    def toggle(self, fault: str) -> None:
        self.faults_set ^= {fault}


class VanScene(FakeScene):
    """A live scene with a simulated van."""

    @classmethod
    def driving(cls) -> VanScene:
        scene = cls(FakeScene.live().picture)
        scene.van = FakeVan()
        return scene

    van: FakeVan


def test_rows_say_what_is_set() -> None:
    rows = fault_rows(("late rear white", "bus silent"), {"bus silent"})
    assert [" ".join(plain(cell) for cell in row.cells) for row in rows] == ["○ off late rear white", "● on bus silent"]


async def test_enter_sets_a_fault_and_takes_it_back() -> None:
    scene = VanScene.driving()
    app = BusprobeApp(scene, cautions=("Parking brake on.",))
    async with app.run_test(size=SIZE) as pilot:
        await pilot.pause()
        assert not isinstance(app.screen, Cautions)
        await pilot.press("7", "down", "enter")
        await pilot.pause()
        assert isinstance(app.screen, VanFaults)
        assert scene.van.faults_set == {"bus silent"}
        assert plain(app.screen.query_one(Rows).rows[1].cells[0]) == "● on"
        await pilot.press("space", "up", "space", "escape")
        await pilot.pause()
        assert scene.van.faults_set == {"late rear white"}
        assert isinstance(app.screen, StateBoard)


async def test_the_palette_has_every_fault() -> None:
    scene = VanScene.driving()
    app = BusprobeApp(scene)
    async with app.run_test(size=SIZE) as pilot:
        await pilot.pause()
        commands = {c.title: c for c in app.get_system_commands(app.screen)}
        assert {"Van", "Van: late rear white", "Van: bus silent"} <= set(commands)
        commands["Van: bus silent"].callback()
        await pilot.pause()
        assert scene.van.faults_set == {"bus silent"}
        assert "Van: bus silent on, within a second." in [note.message for note in app._notifications]


async def test_a_van_that_has_ended_says_why() -> None:
    scene = VanScene.driving()
    scene.van.trouble = "The bus cannot be opened."
    app = BusprobeApp(scene)
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("7", "enter")
        await pilot.pause()
        assert "The bus cannot be opened." in [note.message for note in app._notifications]


async def test_without_a_van_the_key_does_nothing_and_is_not_listed(live: FakeScene) -> None:
    app = BusprobeApp(live)
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("7")
        await pilot.pause()
        assert isinstance(app.screen, StateBoard)
        assert not [c for c in app.get_system_commands(app.screen) if c.title.startswith("Van")]


async def test_a_van_that_ends_while_the_list_is_open() -> None:
    scene = VanScene.driving()
    app = BusprobeApp(scene, cautions=())
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("7", "enter")
        await pilot.pause()
        box, rows = app.screen.query_one(".box"), app.screen.query_one(Rows)
        assert (box.border_title, plain(rows.rows[0].cells[0])) == ("Faults of the simulated van", "● on")
        scene.van.trouble = "The simulated van has ended."
        scene.van.faults_set = set()
        for _ in range(100):  # it looks now and then
            if box.border_title == "The simulated van has ended":
                break
            await pilot.pause(LOOK_S)
        assert (box.border_title, plain(rows.rows[0].cells[0])) == ("The simulated van has ended", "○ off")
