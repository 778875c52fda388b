"""Expressions of the bench file: text -> syntax -> nodes with every name, label and unit resolved."""

from busprobe.bench.binding import bind, bind_levels, bind_quantity
from busprobe.bench.syntax import Parsed, is_event, names_of, parse

__all__ = ["Parsed", "bind", "bind_levels", "bind_quantity", "is_event", "names_of", "parse"]
