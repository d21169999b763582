"""A store of its own for each test, on a file and, where a server is to be had, on PostgreSQL."""

import os
import secrets
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import sqlalchemy
from sqlalchemy.engine import make_url

from tapewright.jobs.store.database import FILE_NAME, SETTING
from tapewright.jobs.store.opened import Store, open_store

os.environ.pop(SETTING, None)  # a test works on stores of its own, whatever the shop has set
SERVER = "TAPEWRIGHT_TEST_POSTGRES"
NO_SERVER = f"no PostgreSQL to be had: {SERVER} names none (.ci/run starts one)"


@pytest.fixture
def postgres() -> Iterator[str]:
    """The address of an empty database: a schema of its own on the server; skips where there is none."""
    server = os.environ.get(SERVER)
    if not server:
        pytest.skip(NO_SERVER)
    schema = f"test_{secrets.token_hex(6)}"
    engine = sqlalchemy.create_engine(make_url(server).set(drivername="postgresql+psycopg"))
    with engine.begin() as connection:
        connection.exec_driver_sql(f"CREATE SCHEMA {schema}")
    yield make_url(server).update_query_dict({"options": f"-csearch_path={schema}"}).render_as_string(False)
    with engine.begin() as connection:
        connection.exec_driver_sql(f"DROP SCHEMA {schema} CASCADE")
    engine.dispose()


@pytest.fixture(params=["sqlite", "postgres"])
def database(request: pytest.FixtureRequest) -> str | None:
    """The address of a database, or None for a file in the store's folder."""
    return None if request.param == "sqlite" else str(request.getfixturevalue("postgres"))


Opener = Callable[[], Store]


@pytest.fixture(scope="session")
def empty(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database file with tables and no jobs, to be copied: making the tables takes a while."""
    home = tmp_path_factory.mktemp("empty")
    open_store(home).close()
    return home / FILE_NAME


@pytest.fixture
def opened(tmp_path: Path, database: str | None, empty: Path) -> Iterator[Opener]:
    """Opens the same store again and again; all are closed at the end."""
    stores: list[Store] = []
    (tmp_path / "home").mkdir()
    if database is None:
        shutil.copy(empty, tmp_path / "home" / FILE_NAME)

    def opener() -> Store:
        stores.append(open_store(tmp_path / "home", database))
        return stores[-1]

    yield opener
    for store in stores:
        store.close()


@pytest.fixture
def store(opened: Opener) -> Store:
    return opened()


@pytest.fixture
def on_file(tmp_path: Path, empty: Path) -> Iterator[Store]:
    """A store on a file alone, for what hangs on no database."""
    (tmp_path / "home").mkdir()
    shutil.copy(empty, tmp_path / "home" / FILE_NAME)
    with open_store(tmp_path / "home") as store:
        yield store


@pytest.fixture(scope="module")
def shared(tmp_path_factory: pytest.TempPathFactory, empty: Path) -> Iterator[Store]:
    """A store on a file for all tests of a module: for what is refused, and so leaves nothing behind."""
    home = tmp_path_factory.mktemp("shared") / "home"
    home.mkdir()
    shutil.copy(empty, home / FILE_NAME)
    with open_store(home) as store:
        yield store
