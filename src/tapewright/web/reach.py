"""From where the bench can be reached: this computer alone, or a network once people and a certificate are set up."""

import ipaddress
import os
import re
import ssl
import stat
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from tapewright.jobs.people import Role, read_people
from tapewright.words.problem import InputAtFaultError, Problem

LOOPBACK: Final = "127.0.0.1"
OWN_NAMES: Final = ("localhost", "127.0.0.1", "[::1]")
_NAME: Final = re.compile(r"(?=.{1,253}\Z)[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?(\.[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?)*")


@dataclass(frozen=True, slots=True)
class Reach:
    """From where, and as what, the bench can be reached.

    Arguments:
        host: the address it listens on.
        names: what a browser may call it, as they stand in an address, in lower case.
        certificate: file with its certificate; None without TLS.
        key: file with the certificate's key.
        beyond: whether other computers reach it.
    """

    host: str = LOOPBACK
    names: tuple[str, ...] = OWN_NAMES
    certificate: Path | None = None
    key: Path | None = None
    beyond: bool = False

    @property
    def scheme(self) -> str:
        """How its addresses begin."""
        return "http" if self.certificate is None else "https"


ONLY_HERE: Final = Reach()


def reach_of(
    home: Path,
    host: str = LOOPBACK,
    names: Sequence[str] = (),
    certificate: Path | None = None,
    key: Path | None = None,
) -> Reach:
    """Work out from where the bench may be reached, and refuse what would let strangers in.

    Arguments:
        home: the folder jobs and people lie in.
        host: the address to listen on.
        names: what else a browser may call it.
        certificate: file with the certificate, PEM.
        key: file with its key, PEM.

    Raises:
        InputAtFaultError: with everything that is wrong or missing.
    """
    problems: list[Problem] = []
    address = _address(host, problems)
    called = tuple(dict.fromkeys(name for each in names if (name := _name(each, problems))))
    _see_certificate(certificate, key, problems)
    beyond = address is not None and not address.is_loopback
    if beyond and certificate is None:
        do = "Give --certificate F and --key F; docs/bench.md says how they are made."
        problems.append(Problem("--host", f"is {host}: on a network everybody could read along.", do))
    if beyond and not any(one.role is Role.BENCH for one in read_people(home)):
        do = "Set at least one up: `tapewright people add NAME --role bench`."
        problems.append(Problem("--host", f"is {host}, and nobody at the bench has a password.", do))
    if address is not None and address.is_unspecified and not called:
        do = "Say what it is called, --name NAME, or listen on one address."
        problems.append(Problem("--host", f"is {host}, which is every address of this computer.", do))
    if problems or address is None:
        raise InputAtFaultError(problems)
    own = () if address.is_unspecified else (_in_address(address),)
    return Reach(str(address), tuple(dict.fromkeys((*OWN_NAMES, *own, *called))), certificate, key, beyond)


Address = ipaddress.IPv4Address | ipaddress.IPv6Address


def _in_address(address: Address) -> str:
    return f"[{address}]" if address.version == 6 else str(address)


def _address(host: str, problems: list[Problem]) -> Address | None:
    try:
        address = ipaddress.ip_address(LOOPBACK if host == "localhost" else host)
    except ValueError:
        do = "Give one of this computer's addresses, for instance 192.168.0.7; names are given by --name."
        problems.append(Problem("--host", f"is {host[:80]!r}, which is no address.", do))
        return None
    if address.is_multicast or (address.version == 6 and getattr(address, "scope_id", None)):
        problems.append(Problem("--host", f"is {host}, which a browser cannot ask for.", "Give another address."))
        return None
    return address


def _name(text: str, problems: list[Problem]) -> str | None:
    name = text.strip().lower()
    try:
        return _in_address(ipaddress.ip_address(name.strip("[]")))
    except ValueError:
        pass
    if _NAME.fullmatch(name) and name.isascii():
        return name
    do = "Give the name as it stands in the browser's address, without port: bench.example."
    problems.append(Problem("--name", f"is {text[:80]!r}.", do))
    return None


def _see_certificate(certificate: Path | None, key: Path | None, problems: list[Problem]) -> None:
    """See that a browser could be answered with them, before anybody asks."""
    if certificate is None and key is None:
        return
    if certificate is None or key is None:
        missing, given = ("--certificate", "--key") if certificate is None else ("--key", "--certificate")
        problems.append(Problem(missing, f"is missing, and {given} is given.", "Give both."))
        return
    try:
        ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(certificate, key, _no_password)
    except (OSError, ValueError) as error:  # what TLS itself complains of is an OSError too
        found = f"cannot be used with {key}: {getattr(error, 'reason', None) or error}."
        do = "Give a certificate and its own key, both PEM, the key without a password."
        problems.append(Problem(str(certificate), found, do))
        return
    if os.name == "posix" and stat.S_IMODE(key.stat().st_mode) & 0o007:
        do = f"Keep it to yourself: chmod 600 {key}"
        problems.append(Problem(str(key), "can be read by others on this computer.", do))


def _no_password() -> str:
    raise ValueError("the key has a password")
