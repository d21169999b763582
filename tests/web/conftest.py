"""The benches that the attacks are made on."""

from collections.abc import Iterator
from contextlib import contextmanager

import argon2
import pytest

from tapewright.jobs import people
from tapewright.jobs.people import Role
from tapewright.web.sessions import Sessions, Throttle
from tests.web.attacker import secret_job, shop
from tests.web.visitor import Visitor


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Visitor]:
    """A bench on this computer only, with nobody's password."""
    with Visitor(tmp_path_factory.mktemp("bench") / "home") as visitor:
        yield visitor


@contextmanager
def of_little_work(patched: pytest.MonkeyPatch) -> Iterator[None]:
    people._of_nobody.cache_clear()
    patched.setattr(people, "_HASHER", argon2.PasswordHasher(time_cost=1, memory_cost=64, parallelism=1))
    yield
    people._of_nobody.cache_clear()


@pytest.fixture(scope="module")
def lan(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Visitor]:
    """A bench on a network: Ana is at the bench, Bo at the counter. Passwords cost less work than in earnest."""
    home = tmp_path_factory.mktemp("lan") / "home"
    with (
        pytest.MonkeyPatch.context() as patched,
        of_little_work(patched),
        shop(home, Ana=Role.BENCH, Bo=Role.COUNTER) as visitor,
    ):
        yield visitor


@pytest.fixture
def job(bench: Visitor) -> str:
    """The address of a job on the bench."""
    return f"/jobs/{secret_job(bench.store)}"


@pytest.fixture
def stranger(lan: Visitor) -> Visitor:
    """The bench on a network, from a browser in which nobody has signed in and nothing was tried yet."""
    lan.cookies.clear()
    lan.gate.throttle, lan.gate.sessions = Throttle(), Sessions()
    return lan
