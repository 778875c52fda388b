"""One table of a bench file: its values read by type, each error with its place."""

from __future__ import annotations

import difflib
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from busprobe.bench.model import Origin, Text
from busprobe.bench.places import Keys, Places
from busprobe.bench.units import UnitError, duration_ns
from busprobe.errors import BenchError, nearest


@dataclass(frozen=True)
class Section:
    """A table, how messages call it (`[[check]] "Siren silent"`) and where it stands."""

    data: Mapping[str, Any]
    title: str
    keys: Keys
    places: Places

    def __contains__(self, key: str) -> bool:
        return key in self.data

    def error(self, message: str, key: str | None = None, *, hint: str | None = None) -> BenchError:
        """An error at the value of `key`, else at the table itself."""
        return error_at(self.origin(key), message, hint)

    def key_error(self, message: str, key: str, *, hint: str | None = None) -> BenchError:
        """An error at a key rather than at its value."""
        return error_at(self.places.of_key((*self.keys, key)), message, hint)

    def error_at_key(self, message: str) -> BenchError:
        """An error at the key that this table is under."""
        return error_at(self.places.of_key(self.keys), message)

    def item_error(self, key: str, number: int, message: str) -> BenchError:
        """An error at an item where `key` holds a list, else at the value."""
        return error_at(self.places.of_value((*self.keys, key, number)), message)

    def origin(self, key: str | None = None) -> Origin:
        return self.places.of_value(self.keys if key is None else (*self.keys, key))

    def refuse_unknown(self, known: Collection[str]) -> None:
        for key, value in self.data.items():
            if key not in known:
                what = f"table [{key}]" if isinstance(value, dict | list) and not self.keys else f'key "{key}"'
                raise self.key_error(f"Unknown {what} in {self.title}.{nearest(key, known)}", key)

    def options(self, known: Collection[str]) -> Mapping[str, Any]:
        """All keys but ours, to be passed on; one that is nearly ours is refused."""
        rest = {key: value for key, value in self.data.items() if key not in known}
        for key in rest:
            close = difflib.get_close_matches(key.casefold().replace("-", "_"), known, n=1, cutoff=0.85)
            if close:
                raise self.key_error(f'Unknown key "{key}" in {self.title}. Nearest known name: "{close[0]}".', key)
        return MappingProxyType(rest)

    def require(self, key: str) -> None:
        if key not in self.data:
            raise self.error(f'{self.title} has no "{key}".')

    def wrong_type(self, key: str, wanted: str) -> BenchError:
        return self.error(f'"{key}" of {self.title} must be {wanted}; found {found(self.data[key])}.', key)

    def text(self, key: str) -> str | None:
        value = self.data.get(key)
        if value is not None and (not isinstance(value, str) or not value.strip()):
            raise self.wrong_type(key, "a text in quotes")
        return value

    def must_text(self, key: str) -> str:
        self.require(key)
        value = self.text(key)
        assert value is not None
        return value

    def expression(self, key: str) -> Text | None:
        value = self.text(key)
        return None if value is None else Text(value, self.origin(key))

    def must_expression(self, key: str) -> Text:
        return Text(self.must_text(key), self.origin(key))

    def flag(self, key: str, default: bool) -> bool:
        value = self.data.get(key, default)
        if not isinstance(value, bool):
            raise self.wrong_type(key, "true or false")
        return value

    def whole(self, key: str, *, least: int) -> int | None:
        value = self.data.get(key)
        if value is not None and (not _is_whole(value) or value < least):
            raise self.wrong_type(key, f"a whole number from {least} up")
        return value

    def wholes(self, key: str) -> tuple[int, ...]:
        """A whole number or a list of them."""
        items = self.items(key)
        for number, item in enumerate(items):
            if not _is_whole(item):
                raise self.wrong_item(key, number, item, "a whole number or a list of them")
        return tuple(items)

    def texts(self, key: str, *, or_whole: bool = False) -> tuple[str, ...]:
        """A text or a list of texts; with `or_whole` numbers count as their digits."""
        items = self.items(key)
        for number, item in enumerate(items):
            if not (isinstance(item, str) and item.strip()) and not (or_whole and _is_whole(item)):
                raise self.wrong_item(key, number, item, "a text in quotes or a list of them")
        return tuple(str(item) for item in items)

    def items(self, key: str) -> list[Any]:
        """What `key` lists; a single value is a list of one."""
        value = self.data.get(key, [])
        return value if isinstance(value, list) else [value]

    def wrong_item(self, key: str, number: int, item: object, wanted: str) -> BenchError:
        return self.item_error(key, number, f'"{key}" of {self.title} must be {wanted}; found {found(item)}.')

    def duration(self, key: str, *, above_zero: bool = False) -> int | None:
        """Nanoseconds."""
        value = self.data.get(key)
        if value is None:
            return None
        if not isinstance(value, str):
            raise self.wrong_type(key, 'a duration in quotes, such as "300 ms"')
        try:
            ns = duration_ns(value)
        except UnitError as error:
            raise self.error(str(error), key) from None
        if above_zero and ns == 0:
            raise self.error(f'"{key}" of {self.title} must be longer than 0; found "{value}".', key)
        return ns

    def must_duration(self, key: str) -> int:
        self.require(key)
        return self.duration(key) or 0

    def table(self, key: str, title: str) -> Section | None:
        """The table under `key`."""
        if key not in self.data:
            return None
        value = self.data[key]
        if not isinstance(value, dict):
            raise self.wrong_type(key, "a table")
        return Section(value, title, (*self.keys, key), self.places)

    def entries(self) -> Iterator[tuple[str, Section]]:
        """Every key with its table."""
        for key in self.data:
            entry = self.table(key, f"{self.title} {key}")
            if entry is not None:
                yield key, entry

    def tables(self, key: str, header: str) -> Iterator[Section]:
        """The entries of a list of tables, each called by its header and its name."""
        value = self.data.get(key, [])
        if not isinstance(value, list) or not all(isinstance(entry, dict) for entry in value):
            raise self.key_error(f'"{key}" must be a list of tables: write [[{header}]] above each.', key)
        for number, entry in enumerate(value):
            name = entry.get("name")
            called = f'"{name}"' if isinstance(name, str) else f"number {number + 1}"
            yield Section(entry, f"[[{header}]] {called}", (*self.keys, key, number), self.places)


def error_at(origin: Origin, message: str, hint: str | None = None) -> BenchError:
    return BenchError(message, path=origin.path, line=origin.line, column=origin.column, hint=hint)


def refuse_twice(sections: Iterator[Section], what: str) -> list[Section]:
    """The sections, unless two have one name."""
    first: dict[str, Section] = {}
    for section in sections:
        name = section.must_text("name")
        if name in first:
            line = first[name].origin("name").line
            raise section.error(f'Two {what} are named "{name}"; the first is on line {line}.', "name")
        first[name] = section
    return list(first.values())


def _is_whole(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool)


def found(value: object) -> str:
    """A value as a bench file writes it: a text stands in quotes, a number does not."""
    match value:
        case str():
            return f'"{value}"'
        case bool():
            return str(value).lower()
        case dict():
            return "a table"
        case list():
            return "a list"
        case _:
            return f"{value}"
