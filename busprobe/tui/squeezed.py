"""Panels for which a small terminal has no room beside others."""

from __future__ import annotations

from textual.widget import Widget

LEAST_HEIGHT = 2
"""Of a panel that is of any use: its title, and a line."""


def leads_nowhere(screen: Widget, action: str, parameters: tuple[object, ...]) -> bool:
    """Whether an action goes to a panel that there is not; its parameter is the panel's number, the first one 0."""
    return action == "panel" and parameters[0] not in range(len(screen.query(".panel")))


def is_hidden(panel: Widget) -> bool:
    """Whether a style sheet leaves it out in a terminal of this size."""
    return not all(node.display for node in panel.ancestors_with_self if isinstance(node, Widget))


def is_squeezed_out(panel: Widget, body: Widget) -> bool:
    """Whether others leave nothing of `body` for it. What it stands in counts where it has yet to be laid out."""
    node = next(n for n in panel.ancestors_with_self if isinstance(n, Widget) and n.region)
    return node.region.intersection(body.region).height < LEAST_HEIGHT
