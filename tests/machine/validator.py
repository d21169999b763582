"""As much of JSON Schema 2020-12 as the schema of descriptions uses; anything else in a schema is an error here."""

import re
from collections.abc import Iterator
from typing import Any

TYPES: dict[str, tuple[type, ...]] = {
    "object": (dict,), "array": (list,), "string": (str,), "boolean": (bool,), "number": (int, float),
    "integer": (int,),
}  # fmt: skip
TOLD_ONLY = {"$schema", "title", "description", "then"}


def broken(schema: dict[str, Any], value: Any, path: str = "") -> Iterator[str]:
    """Give the path of every breach."""
    for word, wanted in schema.items():
        if word not in TOLD_ONLY:
            yield from CHECKS[word](schema, wanted, value, path)


def _type(schema: dict[str, Any], wanted: Any, value: Any, path: str) -> Iterator[str]:
    mistaken = isinstance(value, bool) and wanted != "boolean"
    if mistaken or not isinstance(value, TYPES[wanted]):
        yield path


def _properties(schema: dict[str, Any], wanted: Any, value: Any, path: str) -> Iterator[str]:
    for key, inner in wanted.items():
        if isinstance(value, dict) and key in value:
            yield from broken(inner, value[key], f"{path}.{key}".lstrip("."))


def _additional(schema: dict[str, Any], wanted: Any, value: Any, path: str) -> Iterator[str]:
    others = set(value) - set(schema.get("properties", {})) if isinstance(value, dict) else set()
    for key in others:
        at = f"{path}.{key}".lstrip(".")
        yield from [at] if wanted is False else broken(wanted, value[key], at)


def _names(schema: dict[str, Any], wanted: Any, value: Any, path: str) -> Iterator[str]:
    for key in value if isinstance(value, dict) else ():
        yield from broken(wanted, key, f"{path}.{key}")


def _required(schema: dict[str, Any], wanted: Any, value: Any, path: str) -> Iterator[str]:
    yield from (f"{path}.{key}" for key in wanted if isinstance(value, dict) and key not in value)


def _items(schema: dict[str, Any], wanted: Any, value: Any, path: str) -> Iterator[str]:
    for one in value if isinstance(value, list) else ():
        yield from broken(wanted, one, path)


def _if(schema: dict[str, Any], wanted: Any, value: Any, path: str) -> Iterator[str]:
    if not list(broken(wanted, value, path)):
        yield from broken(schema["then"], value, path)


def _all(schema: dict[str, Any], wanted: Any, value: Any, path: str) -> Iterator[str]:
    for one in wanted:
        yield from broken(one, value, path)


def _held(holds: Any) -> Any:
    def check(schema: dict[str, Any], wanted: Any, value: Any, path: str) -> Iterator[str]:
        if not holds(wanted, value):
            yield path

    return check


CHECKS: dict[str, Any] = {
    "type": _type, "properties": _properties, "additionalProperties": _additional, "propertyNames": _names,
    "required": _required, "items": _items, "if": _if, "allOf": _all,
    "enum": _held(lambda wanted, value: value in wanted),
    "const": _held(lambda wanted, value: value == wanted),
    "pattern": _held(lambda wanted, value: re.search(wanted, value)),
    "minimum": _held(lambda wanted, value: not isinstance(value, (int, float)) or value >= wanted),
    "maximum": _held(lambda wanted, value: not isinstance(value, (int, float)) or value <= wanted),
    "minItems": _held(lambda wanted, value: not isinstance(value, list) or len(value) >= wanted),
    "maxItems": _held(lambda wanted, value: not isinstance(value, list) or len(value) <= wanted),
    "minLength": _held(lambda wanted, value: not isinstance(value, str) or len(value) >= wanted),
}  # fmt: skip
