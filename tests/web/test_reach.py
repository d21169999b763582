"""From where the bench can be reached: this computer alone, until people and a certificate are set up."""

import shutil
from pathlib import Path

import argon2
import pytest

from tapewright.jobs import people
from tapewright.jobs.people import Role, set_person
from tapewright.web.reach import ONLY_HERE, OWN_NAMES, reach_of
from tapewright.web.settings import SETTINGS_FILE, Settings, settings_of
from tapewright.words.problem import InputAtFaultError
from tests.web.attacker import CERTIFICATE, PASSWORD


@pytest.fixture(autouse=True)
def little_work(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(people, "_HASHER", argon2.PasswordHasher(time_cost=1, memory_cost=64, parallelism=1))


@pytest.fixture
def pair(tmp_path: Path) -> tuple[Path, Path]:
    """A certificate and its key, kept as they should be."""
    for name in ("certificate.pem", "key.pem"):
        shutil.copyfile(CERTIFICATE / name, tmp_path / name)
        (tmp_path / name).chmod(0o600)
    return tmp_path / "certificate.pem", tmp_path / "key.pem"


def said(home: Path, **asked: object) -> list[str]:
    with pytest.raises(InputAtFaultError) as caught:
        reach_of(home, **asked)  # type: ignore[arg-type]
    return [problem.where for problem in caught.value.problems]


def test_without_a_word_it_is_this_computer_alone(tmp_path: Path) -> None:
    assert reach_of(tmp_path) == ONLY_HERE
    assert (ONLY_HERE.host, ONLY_HERE.beyond, ONLY_HERE.scheme) == ("127.0.0.1", False, "http")


@pytest.mark.parametrize("host", ["127.0.0.1", "::1", "127.8.9.10", "localhost"])
def test_every_loopback_address_is_this_computer(tmp_path: Path, host: str) -> None:
    assert not reach_of(tmp_path, host).beyond


@pytest.mark.parametrize("host", ["192.168.0.7", "10.0.0.1", "8.8.8.8", "0.0.0.0", "::", "2001:db8::7", "169.254.1.1"])
def test_every_other_address_needs_a_certificate_and_somebody_with_a_password(
    tmp_path: Path, pair: tuple[Path, Path], host: str
) -> None:
    asked = {"host": host, "names": ("bench.example",), "certificate": pair[0], "key": pair[1]}
    assert said(tmp_path, host=host, names=("bench.example",)) == ["--host", "--host"]
    assert said(tmp_path, **asked) == ["--host"], "nobody has a password"
    set_person(tmp_path, "Bo", Role.COUNTER, PASSWORD)
    assert said(tmp_path, **asked) == ["--host"], "nobody at the bench has"
    set_person(tmp_path, "Ana", Role.BENCH, PASSWORD)
    assert said(tmp_path, host=host, names=("bench.example",)) == ["--host"], "not without TLS"
    reach = reach_of(tmp_path, **asked)  # type: ignore[arg-type]
    assert (reach.beyond, reach.scheme) == (True, "https")
    assert set(reach.names) >= {*OWN_NAMES, "bench.example"}


def test_it_is_called_by_its_address_and_its_names(tmp_path: Path, pair: tuple[Path, Path]) -> None:
    set_person(tmp_path, "Ana", Role.BENCH, PASSWORD)
    reach = reach_of(tmp_path, "2001:DB8:0::7", ("Bench.Example", "192.168.0.7", "[2001:db8::8]"), *pair)
    assert reach.names[3:] == ("[2001:db8::7]", "bench.example", "192.168.0.7", "[2001:db8::8]")
    assert said(tmp_path, host="0.0.0.0", certificate=pair[0], key=pair[1]) == ["--host"], "every address has no name"


@pytest.mark.parametrize("host", ["", "bench.example", "192.168.0", "192.168.0.7:80", "224.0.0.1", "fe80::1%lo", "*"])
def test_what_is_no_address_is_said(tmp_path: Path, host: str) -> None:
    assert said(tmp_path, host=host) == ["--host"]


@pytest.mark.parametrize(
    "name", ["", "*", "b\u00e4nch", "bench.example:8137", "https://bench", "a b", "-a", "x" * 300, "a..b", "a."]
)
def test_what_is_no_name_is_said(tmp_path: Path, name: str) -> None:
    assert said(tmp_path, names=(name,)) == ["--name"]


def test_a_certificate_that_cannot_be_used_is_said(tmp_path: Path, pair: tuple[Path, Path]) -> None:
    certificate, key = pair
    assert said(tmp_path, certificate=certificate) == ["--key"]
    assert said(tmp_path, key=key) == ["--certificate"]
    assert said(tmp_path, certificate=key, key=certificate) == [str(key)]
    assert said(tmp_path, certificate=tmp_path / "none", key=key) == [str(tmp_path / "none")]
    key.chmod(0o644)
    assert said(tmp_path, certificate=certificate, key=key) == [str(key)], "others could read the key"


def test_what_a_shop_always_wants_stands_in_a_file_and_an_option_goes_before_it(tmp_path: Path) -> None:
    assert settings_of(tmp_path, Settings(port=9)) == Settings(port=9)
    (tmp_path / SETTINGS_FILE).write_text(
        'host = "192.168.0.7"\nport = 8200\nnames = ["bench.example"]\ncertificate = "tls/c.pem"\nkey = "/etc/k.pem"\n',
        "utf-8",
    )
    found = settings_of(tmp_path, Settings(port=9))
    assert found == Settings("192.168.0.7", 9, ("bench.example",), tmp_path / "tls" / "c.pem", Path("/etc/k.pem"))


@pytest.mark.parametrize(
    "text",
    [
        "port = 0",
        "port = true",
        'port = "8137"',
        "host = 7",
        'names = "bench"',
        "names = [7]",
        "hots = 1",
        "=",
        "key = ''",
    ],
)
def test_settings_that_cannot_be_meant_are_said(tmp_path: Path, text: str) -> None:
    (tmp_path / SETTINGS_FILE).write_text(text, "utf-8")
    with pytest.raises(InputAtFaultError) as caught:
        settings_of(tmp_path, Settings())
    assert SETTINGS_FILE in caught.value.problems[0].where
