"""Any noun as plain JSON data."""

import dataclasses
import math
from collections.abc import Mapping
from typing import Any

from tapewright.words.reading import Reading


def plain(thing: Any) -> Any:
    """Turn nouns into dicts, lists, strings and numbers that JSON can hold.

    A `Reading` becomes `{"value", "unit", "doubt"}` or `{"value": None, "why_not"}`, with interval, method,
    conditions and the sense that took it where they are said. A number that is not finite becomes None, since JSON has
    no such number.

    >>> plain(Reading(0.1, "%", 0.01))
    {'value': 0.1, 'unit': '%', 'doubt': 0.01}
    """
    if isinstance(thing, Reading):
        shown: dict[str, Any] = {"value": plain(thing.value), "unit": thing.unit, "doubt": plain(thing.doubt)}
        if thing.value is None:
            shown = {"value": None, "why_not": thing.why_not}
        if thing.interval is not None:
            shown["interval"] = plain(thing.interval)
        return shown | {key: text for key in ("method", "conditions", "by") if (text := getattr(thing, key))}
    if dataclasses.is_dataclass(thing) and not isinstance(thing, type):
        return {field.name: plain(getattr(thing, field.name)) for field in dataclasses.fields(thing)}
    if isinstance(thing, Mapping):
        return {str(key): plain(value) for key, value in thing.items()}
    if isinstance(thing, (list, tuple)) or (type(thing).__module__ == "numpy" and hasattr(thing, "tolist")):
        listed = thing if isinstance(thing, (list, tuple)) else thing.tolist()
        return [plain(value) for value in listed] if isinstance(listed, (list, tuple)) else plain(listed)
    if isinstance(thing, float) and not math.isfinite(thing):
        return None
    return thing
