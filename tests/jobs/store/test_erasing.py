"""What is erased is gone: from tables, history and files, and from the bytes of the database and its copies."""

import io
import sqlite3
from pathlib import Path

import pytest

from tapewright.jobs.store.nouns import Attached, FileKind, NoSuchJobError, Note, Owner, Particulars, Sheet
from tapewright.jobs.store.opened import Store
from tests.jobs.store.conftest import Opener

NAME, PHONE, STREET, EARLIER = "Zebulon Inventedperson", "0555-919191", "Nowhere Lane 77", "Zebedee Firstname"
OWNER = Owner(name=EARLIER, phone=PHONE, address=f"{STREET}\nInvented Town")
SECRETS = (NAME, PHONE, STREET, EARLIER)


def with_a_past(store: Store) -> Sheet:
    """A job whose owner stands in many places, some of them undone or taken out since."""
    photo, sound = (store.put_file(io.BytesIO(text), "x") for text in (b"a face", b"sound"))
    job = store.begin(
        Particulars(complaint=f"{NAME} says it squeals", condition="scratched"),
        OWNER,
        [Note(f"rang {PHONE.lower()}"), Note(f"lives at {STREET.upper()}")],
    )
    job = store.add(
        job.id,
        Attached(photo.sha256, photo.size_bytes, f"{NAME}.jpg", FileKind.PHOTO, personal=True),
        Attached(sound.sha256, sound.size_bytes, "side a.wav", FileKind.RECORDING),
    )
    store.set_owner(job.id, name=NAME)
    store.undo(job.id)
    store.redo(job.id)
    store.remove(job.id, job.notes[1].id)
    return store.job(job.id)


def bytes_of(home: Path) -> bytes:
    return b"".join(path.read_bytes() for path in home.rglob("*") if path.is_file())


def pages_of(store: Store) -> bytes:
    """Every byte of the tables and indexes of a server's database, as they lie on its disk."""
    asked = "SELECT oid FROM pg_class WHERE relnamespace = current_schema()::regnamespace AND relkind IN ('r', 'i')"
    with store.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.exec_driver_sql("CHECKPOINT")
        read = "SELECT pg_read_binary_file(pg_relation_filepath(%s::oid))"
        oids = connection.exec_driver_sql(asked).scalars().all()
        return b"".join(connection.exec_driver_sql(read, (oid,)).scalar_one() for oid in oids)


def holds(home: Path, store: Store | None = None) -> list[str]:
    content = bytes_of(home).lower()
    if store is not None and store.database is None:
        content += pages_of(store).lower()
    return [secret for secret in SECRETS if secret.lower().encode() in content]


def test_an_owner_is_erased_from_every_byte(opened: Opener, tmp_path: Path) -> None:
    store, home = opened(), tmp_path / "home"
    job = with_a_past(store)
    second = store.begin(Particulars(serial="second"), job.owner)
    other = store.begin(owner=Owner(name="Somebody Else"))
    before = store.job(other.id)
    store.back_up(anew=True)
    assert holds(home, store) == list(SECRETS), "the test looks in the wrong place"
    erased = store.erase_owner(job.id, who="Ana")
    assert set(erased.jobs) == {job.id, second.id}
    assert erased.files == 1
    assert holds(home, store) == []
    for job_id in erased.jobs:
        left = store.job(job_id)
        assert left.owner == Owner()
        assert left.erased_at is not None
    left = store.job(job.id)
    assert [entry.what.called for entry in left.files] == ["side a.wav"]
    assert left.particulars.complaint == "[erased] says it squeals"
    assert left.particulars.condition == "scratched"
    assert store.history(job.id)[-1].says == "the owner's data erased"
    assert store.job(other.id) == before
    assert store.jobs("zebulon").total == 0
    assert store.owners("zebulon") == ()
    for number in (1, 2, 3, 6):  # undoing and redoing bring nothing back
        if number > 1:
            store.undo(job.id, number)
            store.redo(job.id, number)
    assert store.job(job.id).owner == Owner()
    assert holds(home, store) == []
    assert store.finish_erasing() is None


def test_what_stays_by_choice_is_named(on_file: Store) -> None:
    job = on_file.begin(Particulars(complaint="Zebulon's deck"), Owner(name=NAME))
    erased = on_file.erase_owner(job.id)
    assert erased.look_at == (f"{job.ticket} still holds the word 'zebulon' somewhere in its texts.",)


def test_words_and_chosen_entries_go_too(on_file: Store) -> None:
    job = with_a_past(on_file)
    sound = job.files[1].id
    erased = on_file.erase_owner(job.id, also=[sound], words=True)
    left = on_file.job(job.id)
    assert (left.files, left.notes, left.particulars.complaint, left.particulars.condition) == ((), (), "", "")
    assert erased.files == 2
    assert [path for path in on_file.files.rglob("*") if path.is_file()] == []
    assert b"squeals" not in bytes_of(on_file.home)


def test_a_whole_job_is_erased(store: Store, tmp_path: Path) -> None:
    job, other = with_a_past(store), store.begin()
    shared = job.files[1].what
    store.add(other.id, shared)
    assert store.erase_job(job.id).files == 1  # the photo; the other job names the sound
    with pytest.raises(NoSuchJobError):
        store.job(job.id)
    with pytest.raises(NoSuchJobError):
        store.erase_job(job.id)
    assert store.file_path(shared.sha256).read_bytes() == b"sound"
    assert holds(tmp_path / "home", store) == []


def test_an_erasing_that_is_held_up_is_finished_at_the_next_opening(
    on_file: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    from tapewright.jobs.store import erasing
    from tapewright.jobs.store.opened import open_store

    job = with_a_past(on_file)

    def busy(_engine: object) -> None:
        raise sqlite3.OperationalError("database is locked")

    with monkeypatch.context() as patched:
        patched.setattr(erasing, "finish", busy)
        assert "finished then" in on_file.erase_owner(job.id).look_at[-1]
    assert on_file.job(job.id).owner == Owner()
    on_file.close()
    with open_store(on_file.home) as again:
        assert again.remarks == ()
    assert holds(on_file.home) == []
