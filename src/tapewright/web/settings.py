"""How a shop always opens its bench: a small file beside the jobs, so that nobody has to type it every morning."""

import tomllib
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any, Final

from tapewright.words.problem import InputAtFaultError, Problem
from tapewright.words.whole_file import read_text

SETTINGS_FILE: Final = "bench.toml"


@dataclass(frozen=True, slots=True)
class Settings:
    """How to open the bench; None and () for what is not said.

    Arguments:
        host: the address to listen on.
        port: to listen on.
        names: what else a browser may call it.
        certificate: file with its certificate.
        key: file with the certificate's key.
    """

    host: str | None = None
    port: int | None = None
    names: tuple[str, ...] = ()
    certificate: Path | None = None
    key: Path | None = None


def settings_of(home: Path, given: Settings) -> Settings:
    """Give how to open the bench: as given, and what is not given as the file says.

    Arguments:
        home: the folder jobs lie in, and the file with them.
        given: on the command line.

    Raises:
        InputAtFaultError: for what cannot be meant.
    """
    kept = _read(home / SETTINGS_FILE)
    both = {one.name: getattr(given, one.name) for one in fields(Settings)}
    return Settings(**{name: getattr(kept, name) if value in (None, ()) else value for name, value in both.items()})


def _read(path: Path) -> Settings:
    if not path.exists():
        return Settings()
    text = read_text(path, largest_mb=1, instead="Give a short one.", absent="Try again.", kind="TOML")
    try:
        said = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputAtFaultError(Problem(str(path), f"is no TOML: {error}.", "Mend it, or delete it.")) from None
    problems = [one for key, value in said.items() if (one := _wrong(path, key, value)) is not None]
    if problems:
        raise InputAtFaultError(problems)
    files = {key: path.parent / said[key] for key in ("certificate", "key") if key in said}
    return Settings(**said | files | ({"names": tuple(said["names"])} if "names" in said else {}))


def _wrong(path: Path, key: str, value: Any) -> Problem | None:
    where = f"{path}, {key}"
    if key not in _MEANT:
        return Problem(where, "is not known.", f"Known: {', '.join(_MEANT)}.")
    says, fits = _MEANT[key]
    return None if fits(value) else Problem(where, f"is {str(value)[:80]!r}.", f"Give {says}.")


def _text(value: Any) -> bool:
    return isinstance(value, str) and bool(value)


def _port(value: Any) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and 0 < value < 65536


def _texts(value: Any) -> bool:
    return isinstance(value, list) and all(map(_text, value))


_MEANT: Final = {
    "host": ('an address in quotation marks: "192.168.0.7"', _text),
    "port": ("a number from 1 to 65535", _port),
    "names": ('names: ["bench.example"]', _texts),
    "certificate": ("a file, as seen from this one", _text),
    "key": ("a file, as seen from this one", _text),
}
