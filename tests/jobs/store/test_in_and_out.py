"""An export is read by a person and brought in elsewhere; importing twice gives nothing twice; traps are refused."""

import io
import json
import random
import stat
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tapewright.jobs.store.importing import Limits
from tapewright.jobs.store.nouns import Attached, FileKind, NoSuchJobError, Note, Owner, Sheet
from tapewright.jobs.store.opened import Store, open_store
from tapewright.words.problem import InputAtFaultError
from tests.jobs.store.test_store import FULL, ITEMS, OWNER

SOUND = b"soundsound" + random.Random(0).randbytes(60_000)
NASTY = '<script>alert("x")</script>'


def some_job(store: Store) -> Sheet:
    stored = store.put_file(io.BytesIO(SOUND), "a.wav")
    job = store.begin(FULL, OWNER, ITEMS, who="Ana")
    job = store.add(job.id, Attached(stored.sha256, stored.size_bytes, f"../{NASTY}.wav", FileKind.RECORDING))
    store.set(job.id, condition=NASTY)
    store.remove(job.id, job.parts[0].id)
    store.undo(job.id)
    return store.job(job.id)


def files_in(folder: Path) -> list[Path]:
    return [path for path in folder.rglob("*") if path.is_file()]


def test_out_and_in_again_is_the_same(store: Store, tmp_path: Path) -> None:
    job, plain = some_job(store), store.begin()
    zipped = tmp_path / "all.zip"
    assert store.export(zipped) == 2
    with open_store(tmp_path / "elsewhere") as other:
        brought = other.bring_in(zipped)
        assert set(brought.added) == {job.id, plain.id}
        assert brought.problems == ()
        for each in (job, plain):
            assert other.job(each.id) == store.job(each.id)
            assert other.history(each.id) == store.history(each.id)
        assert other.file_path(job.files[0].what.sha256).read_bytes() == SOUND
        assert other.undo(job.id).revision == job.revision + 1
        assert other.begin().ticket > max(job.ticket, plain.ticket)  # its own numbers go on after those that came
        again = zipped.with_name("again.zip")
        store.export(again)
        assert again.read_bytes() == zipped.read_bytes()


def test_twice_gives_nothing_twice_and_later_steps_follow(store: Store, tmp_path: Path) -> None:
    job = some_job(store)
    zipped = tmp_path / "job.zip"
    store.export(zipped, [job.id])
    assert store.bring_in(zipped).already_here == (job.id,)
    with open_store(tmp_path / "elsewhere") as other:
        other.bring_in(zipped)
        count = len(files_in(other.files))
        assert other.bring_in(zipped).already_here == (job.id,)
        assert other.job(job.id) == job
        assert (other.jobs().total, len(files_in(other.files))) == (1, count)
        later = store.undo(job.id, 2)
        store.export(zipped, [job.id])
        assert other.bring_in(zipped).continued == (job.id,)
        assert other.job(job.id) == later
        # From here on they part: neither is overwritten by the other.
        here, there = store.add(job.id, Note("here")), other.add(job.id, Note("there"))
        store.export(zipped, [job.id])
        assert "parted" in str(other.bring_in(zipped).problems[0])
        assert (store.job(job.id), other.job(job.id)) == (here, there)


def test_a_person_can_read_it(on_file: Store, tmp_path: Path) -> None:
    job = some_job(on_file)
    zipped = tmp_path / "job.zip"
    on_file.export(zipped)
    with zipfile.ZipFile(zipped) as archive:
        page = archive.read("index.html").decode()
        names = archive.namelist()
        told = json.loads(archive.read(next(name for name in names if name.endswith("job.json"))))
    assert NASTY not in page
    assert "&lt;script&gt;" in page
    for words in (job.ticket, "Invented Owner", "flat belt", "2000 EUR", "a file added"):
        assert words in page
    assert told["as_it_stands"]["particulars"]["complaint"] == FULL.complaint
    assert all(not name.startswith(("/", ".")) and ".." not in name for name in names)
    assert [name for name in names if name.endswith(".wav")] != []


def test_owners_may_be_left_out(on_file: Store, tmp_path: Path) -> None:
    job = some_job(on_file)
    on_file.export(tmp_path / "job.zip", owners=False)
    with zipfile.ZipFile(tmp_path / "job.zip") as archive:
        assert not any(OWNER.name.encode() in archive.read(name) for name in archive.namelist())
    with open_store(tmp_path / "elsewhere") as other:
        other.bring_in(tmp_path / "job.zip")
        assert other.job(job.id).owner == Owner()


def test_what_was_erased_does_not_come_back(on_file: Store, tmp_path: Path) -> None:
    job = some_job(on_file)
    on_file.export(tmp_path / "before.zip")
    on_file.erase_owner(job.id)
    assert on_file.bring_in(tmp_path / "before.zip").already_here == (job.id,)
    assert on_file.job(job.id).owner == Owner()
    on_file.export(tmp_path / "after.zip")
    with open_store(tmp_path / "elsewhere") as other:
        other.bring_in(tmp_path / "after.zip")
        assert other.job(job.id) == on_file.job(job.id)


def test_an_export_that_fails_leaves_nothing(on_file: Store, tmp_path: Path) -> None:
    with pytest.raises(NoSuchJobError):
        on_file.export(tmp_path / "out" / "x.zip", ["0123456789abcdef"])
    assert list((tmp_path / "out").iterdir()) == []
    (tmp_path / "a file").write_text("x", "utf-8")
    with pytest.raises(InputAtFaultError, match="cannot be written"):
        on_file.export(tmp_path / "a file" / "x.zip")


# --- traps ------------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def exported(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    home = tmp_path_factory.mktemp("exported")
    with open_store(home) as store:
        some_job(store)
        store.export(home / "x.zip")
    return (home / "x.zip").read_bytes()


def rebuilt(zipped: bytes, change: Callable[[str, bytes], bytes], more: Callable[[zipfile.ZipFile], None]) -> bytes:
    """Write a zip anew with its entries changed, and more put in."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(zipped)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            new.writestr(name, change(name, old.read(name)))
        more(new)
    return out.getvalue()


def with_entry(name: str, content: bytes = b"x", mode: int = 0, **how: Any) -> Callable[[bytes], bytes]:
    def more(archive: zipfile.ZipFile) -> None:
        info = zipfile.ZipInfo("placeholder")
        info.filename = name
        info.external_attr = mode << 16
        archive.writestr(info, content, **how)

    return lambda zipped: rebuilt(zipped, lambda _name, content: content, more)


def with_json(do: Callable[[dict[str, Any]], Any]) -> Callable[[bytes], bytes]:
    def change(name: str, content: bytes) -> bytes:
        if not name.endswith("job.json"):
            return content
        found = json.loads(content)
        given = do(found)
        return given if isinstance(given, bytes) else json.dumps(given or found).encode()

    return lambda zipped: rebuilt(zipped, change, lambda _: None)


def with_sound(content: bytes) -> Callable[[bytes], bytes]:
    return lambda zipped: rebuilt(zipped, lambda name, old: content if name.endswith(".wav") else old, lambda _: None)


def job_twice(zipped: bytes) -> bytes:
    with zipfile.ZipFile(io.BytesIO(zipped)) as archive:
        told = next(archive.read(name) for name in archive.namelist() if name.endswith("job.json"))
    return with_entry("jobs/another/job.json", told)(zipped)


def same_name_twice(zipped: bytes) -> bytes:
    with pytest.warns(UserWarning, match="Duplicate"):
        return with_entry("index.html")(zipped)


def locked(zipped: bytes) -> bytes:
    """Say of every entry that it needs a password."""
    found = bytearray(zipped)
    at = found.find(b"PK\x01\x02")
    while at >= 0:
        found[at + 8] |= 1
        at = found.find(b"PK\x01\x02", at + 4)
    return bytes(found)


def set_in(**fields: Any) -> Callable[[bytes], bytes]:
    return with_json(lambda found: found.update(fields))


def in_step(number: int, **fields: Any) -> Callable[[bytes], bytes]:
    return with_json(lambda found: found["steps"][number - 1].update(fields))


def in_piece(number: int, place: int, **fields: Any) -> Callable[[bytes], bytes]:
    return with_json(lambda found: found["steps"][number - 1]["pieces"][place].update(fields))


TRAPS: dict[str, tuple[Callable[[bytes], bytes], str]] = {
    "slip up": (with_entry("../../evil"), "leads elsewhere"),
    "slip up with the other slash": (with_entry("..\\evil"), "leads elsewhere"),
    "slip inside": (with_entry("jobs/a/../../../evil"), "leads elsewhere"),
    "from the root": (with_entry("/etc/evil"), "leads elsewhere"),
    "from a drive": (with_entry("C:\\evil"), "leads elsewhere"),
    "a link": (with_entry("link", b"/etc", stat.S_IFLNK | 0o777), "is no file"),
    "a device": (with_entry("device", b"", stat.S_IFCHR | 0o666), "is no file"),
    "a bomb": (with_entry("bomb", bytes(20_000_000), compress_type=zipfile.ZIP_DEFLATED), "packed more than"),
    "too large a file": (with_entry("big", bytes(3_000_001)), "larger than 3 MB"),
    "packed otherwise": (with_entry("x", b"x" * 99, compress_type=zipfile.ZIP_LZMA), "packed in a way"),
    "locked": (locked, "password"),
    "a name twice": (same_name_twice, "there twice"),
    "a job twice": (job_twice, "a job twice"),
    "another sound": (with_sound(SOUND[::-1]), "not the file that its checksum says"),
    "a shorter sound": (with_sound(b"sound"), "not the file that its checksum says"),
    "no zip": (lambda _: b"GIF89a", "cannot be read as a zip"),
    "nothing": (lambda _: b"", "cannot be read as a zip"),
    "cut short": (lambda zipped: zipped[: len(zipped) // 2], "cannot be read as a zip"),
    "no job": (lambda _: b"PK\x05\x06" + bytes(18), "holds no job"),
    "no JSON": (with_json(lambda _: b"{"), "something else"),
    "no UTF-8": (with_json(lambda _: b"\xff\xfe"), "something else"),
    "nested deeply": (with_json(lambda _: b"[" * 100_000 + b"]" * 100_000), "something else"),
    "a list": (with_json(lambda _: b"[]"), "something else"),
    "a later schema": (set_in(schema=99), "schema"),
    "an id that is a path": (set_in(id="../../../../x"), "no name of that kind"),
    "no steps": (set_in(steps=[]), "something else"),
    "steps that are none": (set_in(steps={"a": 1}), "something else"),
    "a step left out": (with_json(lambda found: found["steps"].pop(2) and None), "is none"),
    "undoing what is not there": (in_step(5, of=17), "not before it"),
    "undoing the first": (in_step(5, of=1), "not before it"),
    "a kind that is none": (in_step(2, kind="evil"), "is none"),
    "a moment that is none": (in_step(2, at="soon"), "time zone"),
    "another job's piece": (in_piece(1, 0, entity_id="0" * 16), "another job"),
    "a table that is none": (in_piece(2, 0, entity="meta"), "nothing that can be done"),
    "a doing that is none": (in_piece(2, 0, does="drop"), "nothing that can be done"),
    "a field that is none": (in_piece(3, 0, fields={"words": "x"}), "nothing that a job holds"),
    "nan": (with_json(lambda f: json.dumps(f).replace("38.5", "NaN").encode()), "no number"),
    "an endless number": (with_json(lambda f: json.dumps(f).replace("38.5", "1e999").encode()), "Give a number"),
    "a character that is none": (in_piece(3, 0, fields={"condition": "a\x00"}), "character"),
    "a checksum that is a path": (in_piece(2, 0, fields={"sha256": "../x", "size_bytes": 1, "called": "x"}), "store"),
    "a file that is not there": (with_json(lambda found: found["files"][0].update(in_zip="none.wav")), "not there"),
    "a file of another size": (with_json(lambda found: found["files"][0].update(size_bytes=3)), "not among the files"),
    "no files": (set_in(files=[]), "not among the files"),
    "money that is none": (in_piece(3, 0, fields={"paid": {"amount": "1", "currency": "EUR"}}), "whole number"),
}


@pytest.mark.parametrize("trap", TRAPS)
def test_a_trap_is_refused_and_nothing_is_kept(shared: Store, tmp_path: Path, exported: bytes, trap: str) -> None:
    set_it, said = TRAPS[trap]
    zipped = tmp_path / "trap.zip"
    zipped.write_bytes(set_it(exported))
    around = sorted([*tmp_path.rglob("*"), *shared.home.parent.glob("*")])
    with pytest.raises(InputAtFaultError, match=said):
        shared.bring_in(zipped, Limits(file_bytes=3_000_000 if "large" in trap else 30_000_000))
    assert shared.jobs().total == 0
    assert sorted([*tmp_path.rglob("*"), *shared.home.parent.glob("*")]) == around
    assert not list((shared.files / ".incoming").glob("*")) if shared.files.exists() else True


@pytest.mark.parametrize(
    ("limits", "said"),
    [(Limits(entries=2), "holds 3 files"), (Limits(bytes=1000), "unpack"), (Limits(json_bytes=100), "larger than")],
)
def test_a_zip_that_is_too_much_is_refused(
    on_file: Store, tmp_path: Path, exported: bytes, limits: Limits, said: str
) -> None:
    (tmp_path / "x.zip").write_bytes(exported)
    with pytest.raises(InputAtFaultError, match=said):
        on_file.bring_in(tmp_path / "x.zip", limits)
    assert len(on_file.bring_in(tmp_path / "x.zip").added) == 1  # the same zip within the limits


@given(st.lists(st.tuples(st.integers(0, 10**9), st.binary(min_size=1, max_size=6)), min_size=1, max_size=4))
@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_a_damaged_zip_is_refused_or_says_the_same(
    tmp_path: Path, on_file: Store, exported: bytes, damage: list[tuple[int, bytes]]
) -> None:
    """Bytes written over anywhere but in the sound, which is most of the file."""
    found = bytearray(exported)
    sound = exported.find(b"soundsound")
    length = len(SOUND)
    for at, content in damage:
        at %= len(found) - length
        at += length if at >= sound else 0
        found[at : at + len(content)] = content
    (tmp_path / "damaged.zip").write_bytes(found)
    try:
        on_file.bring_in(tmp_path / "damaged.zip")
    except InputAtFaultError:
        return
    assert on_file.jobs().total <= 1
