"""The store of jobs: what a page, a command or a script asks, each a function on a `Store`.

Everything that changes a job takes `who` did it, `how` (through which door), and gives the job as it stands afterwards.
What was acknowledged by returning is on the disk.
"""

import contextlib
import secrets
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, date, datetime
from pathlib import Path
from typing import IO, Any

from sqlalchemy import Engine, exc, select

from tapewright.jobs.home import bench_home
from tapewright.jobs.store import erasing, files, steps
from tapewright.jobs.store.backup import back_up
from tapewright.jobs.store.database import FILE_NAME, connect, database_url, lock, reading, writing
from tapewright.jobs.store.exporting import export
from tapewright.jobs.store.history import Piece, Said, add_step, begin
from tapewright.jobs.store.importing import Limits, bring_in
from tapewright.jobs.store.models import JOB
from tapewright.jobs.store.nouns import (
    Brought,
    Erased,
    Item,
    NoSuchJobError,
    Owner,
    Page,
    Particulars,
    Sheet,
    Status,
    Step,
    Stored,
)
from tapewright.jobs.store.reading import count_by_status, find_owners, read_page, read_sheet, read_steps
from tapewright.jobs.store.rules import check
from tapewright.jobs.store.steps import ID_BYTES, Steps, next_ticket
from tapewright.jobs.store.takeover import take_over
from tapewright.jobs.store.values import checked, plain_of
from tapewright.words.problem import InputAtFaultError, Problem


class Store:
    """The jobs of a shop: open it with `open_store`; it may be used from several threads at once.

    Arguments:
        home: the folder that files and backups lie in.
        engine: the database.
        database: its file; None on a server.
    """

    def __init__(self, home: Path, engine: Engine, database: Path | None = None) -> None:
        self.home, self.engine, self.database = home, engine, database
        self.files = home / "files"
        self.remarks: tuple[Problem, ...] = ()

    def __enter__(self) -> "Store":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the database."""
        self.engine.dispose()

    # --- looking -----------------------------------------------------------------------------------------------------

    def job(self, job_id: str) -> Sheet:
        """Give a job as it stands.

        Raises:
            NoSuchJobError: when there is none of this id.
        """
        with reading(self.engine) as connection:
            return read_sheet(connection, job_id)

    def job_of_ticket(self, ticket: str) -> Sheet:
        """Give the job of a ticket; of several that were brought from elsewhere the latest.

        Raises:
            NoSuchJobError: when there is none.
        """
        with reading(self.engine) as connection:
            asked = select(JOB.c.id).where(JOB.c.ticket == ticket.strip()).order_by(JOB.c.created.desc()).limit(1)
            job_id = connection.execute(asked).scalar()
            if job_id is None:
                raise NoSuchJobError(ticket)
            return read_sheet(connection, job_id)

    def jobs(
        self,
        words: str = "",
        statuses: Sequence[Status] = (),
        *,
        serial: str = "",
        owner_id: str = "",
        page: int = 1,
        per_page: int = 50,
        order: str = "changed",
    ) -> Page:
        """Give a page of the list of jobs.

        Arguments:
            words: each has to stand somewhere in ticket, machine, serial, complaint, condition, accessories or owner.
            statuses: one of them; when nothing narrows the list, all but those put away.
            serial: of this very machine: its history over the years.
            owner_id: of this very owner.
            page: from 1; one past the last is the last.
            per_page: lines on a page, at most 500.
            order: "changed", "due" or "ticket".
        """
        narrowing: dict[str, Any] = {"words": words, "statuses": statuses, "serial": serial, "owner_id": owner_id}
        with reading(self.engine) as connection:
            return read_page(connection, **narrowing, page=page, per_page=per_page, order=order)

    def counts(self) -> dict[Status, int]:
        """Count the jobs in each status."""
        with reading(self.engine) as connection:
            return count_by_status(connection)

    def owners(self, words: str, most: int = 8) -> tuple[Owner, ...]:
        """Find owners who have been here before by words of name, telephone or address."""
        with reading(self.engine) as connection:
            return find_owners(connection, words, most)

    def history(self, job_id: str) -> tuple[Step, ...]:
        """Give all steps of a job, the oldest first.

        Raises:
            NoSuchJobError: when there is no such job.
        """
        with reading(self.engine) as connection:
            return read_steps(connection, job_id)

    # --- doing -------------------------------------------------------------------------------------------------------

    def begin(
        self,
        particulars: Particulars = Particulars(),  # noqa: B008 - frozen
        owner: Owner = Owner(),  # noqa: B008 - frozen
        items: Iterable[Item] = (),
        *,
        who: str = "",
        how: str = "counter",
        once: str | None = None,
    ) -> Sheet:
        """Take a machine in: begins a job, and draws its number for the ticket.

        Arguments:
            particulars: machine, complaint and so on.
            owner: whose it is; with the `owner_id` of somebody who has been here before, or without for a new one.
            items: photos, answers, notes of the counter.
            who: who takes it in.
            how: through which door.
            once: anything drawn at random by the page: sent twice, the job is begun once.

        Raises:
            InputAtFaultError: for what cannot be meant.
        """
        job_id, said = secrets.token_hex(ID_BYTES), Said(who, how, datetime.now(UTC), once=once)
        first = checked("job", plain_of(particulars))
        check("job", first, first)
        whose = checked("owner", plain_of(owner))
        whose["owner_id"] = whose["owner_id"] or secrets.token_hex(ID_BYTES)
        check("owner", whose, whose)
        gathered = Steps(job_id)
        for item in items:
            gathered.add(item)
        try:
            return self._begun(job_id, first, whose, gathered, said)
        except exc.IntegrityError:
            if once is None:
                raise
            return self._begun(job_id, first, whose, gathered, said)  # another has kept it at this very moment

    def _begun(self, job_id: str, first: dict[str, Any], whose: dict[str, Any], gathered: Steps, said: Said) -> Sheet:
        with writing(self.engine) as connection:
            earlier = steps.sent_before(connection, said.once)
            if earlier is not None:
                return read_sheet(connection, earlier)
            assert said.at is not None
            begin(connection, job_id, next_ticket(connection, said.at.year), said.at)
            pieces = [Piece("job", job_id, "add", first), Piece("owner", job_id, "add", whose), *gathered.pieces]
            steps.name_files(connection, self.files, job_id, pieces)
            add_step(connection, job_id, pieces, said)
            return read_sheet(connection, job_id)

    @contextlib.contextmanager
    def changing(
        self, job_id: str, *, who: str = "", how: str = "bench", once: str | None = None, revision: int | None = None
    ) -> Iterator[Steps]:
        """Gather several pieces into one step, which is kept when the block ends and can be undone as one.

        Arguments:
            job_id: of the job.
            who: who does it.
            how: through which door.
            once: anything drawn at random by the page: sent twice, it is done once.
            revision: the job as the page showed it; when somebody has changed it since, nothing is kept.

        Raises:
            NoSuchJobError: when there is no such job.
            InputAtFaultError: for what cannot be meant.
        """
        gathered = Steps(job_id)
        yield gathered
        with writing(self.engine) as connection:
            steps.keep_step(connection, self.files, job_id, gathered.pieces, Said(who, how, once=once), revision)

    def set(self, job_id: str, *, who: str = "", how: str = "bench", once: str | None = None, **fields: Any) -> Sheet:
        """Say anew what is said once: `store.set(job, status=Status.READY, due=date(2026, 5, 1))`."""
        with self.changing(job_id, who=who, how=how, once=once) as step:
            step.set(**fields)
        return self.job(job_id)

    def set_owner(
        self, job_id: str, *, who: str = "", how: str = "bench", once: str | None = None, **fields: str
    ) -> Sheet:
        """Say anew whose machine it is: fields of `Owner`."""
        with self.changing(job_id, who=who, how=how, once=once) as step:
            step.set_owner(**fields)
        return self.job(job_id)

    def add(self, job_id: str, *items: Item, who: str = "", how: str = "bench", once: str | None = None) -> Sheet:
        """Add answers, readings, files, parts, work, costs, soak tests or notes, together one step."""
        with self.changing(job_id, who=who, how=how, once=once) as step:
            for item in items:
                step.add(item)
        return self.job(job_id)

    def edit(self, job_id: str, item_id: str, *, who: str = "", how: str = "bench", **fields: Any) -> Sheet:
        """Say anew some fields of something that was added."""
        with self.changing(job_id, who=who, how=how) as step:
            step.edit(item_id, **fields)
        return self.job(job_id)

    def remove(self, job_id: str, *item_ids: str, who: str = "", how: str = "bench") -> Sheet:
        """Take out what was added; undoing this puts it back."""
        with self.changing(job_id, who=who, how=how) as step:
            for item_id in item_ids:
                step.remove(item_id)
        return self.job(job_id)

    def undo(
        self, job_id: str, number: int | None = None, *, who: str = "", how: str = "bench", once: str | None = None
    ) -> Sheet:
        """Undo a step, whichever it is; without a number the last one that counts.

        Raises:
            NoSuchJobError: when there is no such job or step.
            InputAtFaultError: for the first step, which began the job, and for steps that are themselves an undoing.
        """
        with writing(self.engine) as connection:
            steps.undo(connection, job_id, number, Said(who, how, once=once), redo=False)
            return read_sheet(connection, job_id)

    def redo(
        self, job_id: str, number: int | None = None, *, who: str = "", how: str = "bench", once: str | None = None
    ) -> Sheet:
        """Do a step again that was undone; without a number the one undone last, unless something new was done since.

        Raises:
            NoSuchJobError: when there is no such job or step.
        """
        with writing(self.engine) as connection:
            steps.undo(connection, job_id, number, Said(who, how, once=once), redo=True)
            return read_sheet(connection, job_id)

    # --- files -------------------------------------------------------------------------------------------------------

    def incoming(self, called: str, most_bytes: int = files.MOST_BYTES) -> files.Incoming:
        """Open a place for a file that arrives block by block: `write`, then `keep`; used in a `with` block.

        Raises:
            InputAtFaultError: when the disk is full.
        """
        return files.Incoming(self.files, called, most_bytes)

    def put_file(self, source: IO[bytes], called: str, most_bytes: int = files.MOST_BYTES) -> Stored:
        """Copy an open file into the store; it counts once `add(job, Attached(...))` names it.

        Raises:
            InputAtFaultError: when it is too large, or the disk is full.
        """
        return files.put(self.files, files.blocks_of(source), called, most_bytes)

    def file_path(self, sha256: str) -> Path:
        """Give where a file lies, to be read and never written.

        Raises:
            InputAtFaultError: when it is not there.
        """
        path = files.place_of(self.files, sha256)
        if not path.is_file():
            do = "Put its folder back from a copy; with several computers, let TAPEWRIGHT_DATA name one shared folder."
            raise InputAtFaultError(Problem(str(path), "is not there.", do))
        return path

    # --- in and out, and for good ----------------------------------------------------------------------------------

    def export(self, path: Path, job_ids: Sequence[str] | None = None, *, owners: bool = True) -> int:
        """Write jobs into a zip that a person can read; gives how many.

        Arguments:
            path: where the zip goes; it appears whole or not at all.
            job_ids: which jobs; None for all.
            owners: whether the owners' data go along.

        Raises:
            NoSuchJobError: for an id that there is not.
            InputAtFaultError: when it cannot be written there.
        """
        return export(self.engine, self.files, path, job_ids, owners=owners)

    def bring_in(self, path: Path, limits: Limits = Limits()) -> Brought:  # noqa: B008 - frozen
        """Read jobs out of a zip that an export wrote; jobs that are here already get the steps they lack.

        Raises:
            InputAtFaultError: when the zip is not one to be believed; nothing is kept then.
        """
        return bring_in(self.engine, self.files, path, limits)

    def erase_owner(
        self, job_id: str, *, also: Iterable[str] = (), words: bool = False, who: str = "", how: str = "bench"
    ) -> Erased:
        """Erase an owner's data for good, from every job of that owner; no undo brings them back.

        Name, telephone and addresses go from the tables, from the history and from all texts that hold them; files
        marked `personal` go; the database's file is written anew; the copies in `backups` give way to one new copy.

        Arguments:
            job_id: one of the owner's jobs.
            also: ids of entries that go too: photos, recordings, notes.
            words: whether the owner's words go too: complaint, condition, notes.
            who: who does it.
            how: through which door.

        Raises:
            NoSuchJobError: when there is no such job.
        """
        with writing(self.engine) as connection:
            lock(connection, "files")
            wiped = erasing.erase_owner(connection, job_id, also=also, words=words, said=Said(who, how))
        return self._erased(wiped)

    def erase_job(self, job_id: str) -> Erased:
        """Erase a whole job for good, its files with it where no other job names them.

        Raises:
            NoSuchJobError: when there is no such job.
        """
        with writing(self.engine) as connection:
            lock(connection, "files")
            wiped = erasing.erase_job(connection, job_id)
        return self._erased(wiped)

    def _erased(self, wiped: erasing.Wiped) -> Erased:
        look_at = list(wiped.look_at)
        with writing(self.engine) as connection:
            lock(connection, "files")
            files.delete_unnamed(connection, self.files, wiped.files)
        old = [self.home / "jobs" / job_id for job_id in wiped.jobs]
        look_at += [f"{path} is a folder of an earlier version, and is left as it is." for path in old if path.is_dir()]
        problem = self.finish_erasing()
        return Erased(wiped.jobs, len(wiped.files), (*look_at, *([str(problem)] if problem else [])))

    def finish_erasing(self) -> Problem | None:
        """Write the database's file and its copies anew when something was erased; gives what stands in the way."""
        with reading(self.engine) as connection:
            if not erasing.is_to_be_finished(connection):
                return None
        try:
            erasing.finish(self.engine)
            copies = [] if self.database is None else sorted((self.home / "backups").glob("*.sqlite"))
            problem = self.back_up(anew=True)
            if problem is not None:
                return problem
            for copy in copies:
                if copy.name != f"jobs-{_today().isoformat()}.sqlite":
                    copy.unlink(missing_ok=True)
            with writing(self.engine) as connection:
                erasing.finished(connection)
        except (exc.DBAPIError, sqlite3.Error, OSError, InputAtFaultError) as error:
            do = "Close other programs that use it and open the store again: it will be finished then."
            return Problem("erasing", f"is done, but the bytes may still lie in the database's file: {error}.", do)
        return None

    def back_up(self, *, anew: bool = False) -> Problem | None:
        """Copy the database, unless there is a copy of today; gives why it could not be done.

        A server's database is backed up with the server's own tools: nothing is done for it here.
        """
        if self.database is None:
            return None
        return back_up(self.database, self.home / "backups", _today(), anew=anew)

    def sweep(self) -> int:
        """Delete files that a crash has left and no job names; gives how many."""
        with writing(self.engine) as connection:
            lock(connection, "files")
            return files.sweep(connection, self.files)


def _today() -> date:
    return datetime.now(UTC).date()


def open_store(home: Path | None = None, database: str | None = None) -> Store:
    """Open the shop's jobs.

    Arguments:
        home: the folder they lie in; None for the user's own (`bench_home`).
        database: address of a PostgreSQL database; None for what TAPEWRIGHT_DATABASE says, or a file in `home`.

    Raises:
        InputAtFaultError: when it cannot be opened, with the reason.
    """
    home = bench_home(home)
    url = database_url(home, database)
    file = home / FILE_NAME if url.startswith("sqlite") else None
    try:
        home.mkdir(parents=True, exist_ok=True, mode=0o700)
        if file is not None and not file.exists():
            file.touch(mode=0o600)  # what is written beside it gets the same rights: it holds what owners said
    except OSError as error:
        said = error.strerror or str(error)
        raise InputAtFaultError(Problem(str(home), f"cannot be made: {said}.", "Name another folder.")) from error
    remarks = [] if file is None else [back_up(file, home / "backups", _today())]  # before anything is done with it
    store = Store(home, connect(url), file)
    try:
        remarks += take_over(store.engine, home, store.files)
        remarks.append(store.finish_erasing())
        store.sweep()
    except InputAtFaultError as error:
        remarks += error.problems
    except BaseException:
        store.close()
        raise
    store.remarks = tuple(remark for remark in remarks if remark is not None)
    return store
