"""Commands of the shop: the bench page, the owner far away, test tapes, closed jobs."""

import argparse

from tapewright.cli.given import Progress, Shown, evidence_given, note, password_given
from tapewright.words.problem import InputAtFaultError, Problem


def run_bench(options: argparse.Namespace) -> Shown:
    """Open the bench page."""
    from tapewright.web.serve import serve

    if options.port is not None and not 0 < options.port < 65536:
        raise InputAtFaultError(Problem("--port", f"is {options.port}.", "Give a number from 1 to 65535."))
    serve(
        options.port,
        note,
        host=options.host,
        names=options.name,
        certificate=options.certificate,
        key=options.key,
    )
    return {}, ""


def run_people(options: argparse.Namespace) -> Shown:
    """Say who may come to the bench, let somebody in, or no more."""
    from tapewright.jobs.home import bench_home
    from tapewright.jobs.people import Role, people_file, read_people, remove_person, set_person

    home = bench_home()
    if options.action != "list" and not options.name:
        raise InputAtFaultError(Problem(f"people {options.action}", "needs NAME.", "See tapewright people --help."))
    if options.action == "add":
        if options.role is None:
            do = "Give --role bench (may do everything) or --role counter (takes in, hands over)."
            raise InputAtFaultError(Problem("--role", "is missing.", do))
        set_person(home, options.name, Role(options.role), password_given(options.name))
    elif options.action == "remove":
        remove_person(home, options.name)
    people = sorted(read_people(home), key=lambda one: one.name.casefold())
    listed = [{"name": one.name, "role": one.role.value} for one in people]
    text = "\n".join(f"{one.name}, {one.role.value}" for one in people)
    nobody = "Nobody has a password: whoever sits at this computer may do everything at the bench."
    return {"file": str(people_file(home)), "people": listed}, text or nobody


def run_owner(options: argparse.Namespace) -> Shown:
    """Write a sheet for an owner, or read the code that came back."""
    from tapewright.jobs.evidence_file import evidence_json, write_evidence
    from tapewright.jobs.owner_sheet import answers_of, owner_sheet
    from tapewright.machine.load import read_machine
    from tapewright.show.owner_page import owner_page
    from tapewright.words.evidence import Evidence
    from tapewright.words.whole_file import write_whole

    machine = read_machine(options.machine)
    if options.code:
        evidence = Evidence(answers_of(machine, options.code))
        text = "\n".join(f"{one.id}: {_SAID[one.present]}" for one in evidence.signs)
        if options.out is not None:
            write_evidence(options.out, evidence)
            text += f"\n\nWritten: {options.out}"
        return {"evidence": evidence_json(evidence)}, text
    if options.out is None:
        do = "Give --out FILE.html, or --code CODE to read an owner's answers."
        raise InputAtFaultError(Problem("--out", "is missing.", do))
    sheet = owner_sheet(machine, progress=Progress("working the sheet out"))
    write_whole(options.out, owner_page(sheet, machine))
    counted = {"signs": len(sheet.signs), "complaints": len(sheet.complaints), "verdicts": len(sheet.verdicts)}
    said = f"{counted['complaints']} complaints, {counted['verdicts']} different endings."
    return {"machine": machine.id, "page": str(options.out)} | counted, f"Written: {options.out}\n{said}"


_SAID = {True: "yes", False: "no", None: "can't tell"}


def run_tapes(options: argparse.Namespace) -> Shown:
    """Look at the test tapes."""
    from tapewright.jobs.test_tapes import looked_at
    from tapewright.show.tables import tapes_text
    from tapewright.words.plain import plain

    found = looked_at(options.measuring, options.played, begin=options.begin)
    text = tapes_text(found.tapes, str(found.place), found.clock_error_ppm, found.clock_doubt_ppm)
    return plain(found) | {"place": str(found.place)}, text


def run_close(options: argparse.Namespace) -> Shown:
    """Close a job into what the shop knows."""
    from tapewright.jobs.shop import close_into
    from tapewright.machine.load import read_machine
    from tapewright.show.knowledge_text import closed_text
    from tapewright.words.plain import plain

    machine = read_machine(options.machine)
    done = close_into(machine, evidence_given(options), options.found, options.cured, options.job, options.into)
    text = closed_text(machine, done.job, done.how, done.into, done.jobs)
    return {"how": done.how, "into": str(done.into), "jobs": done.jobs, "job": plain(done.job)}, text


def run_show_knowledge(options: argparse.Namespace) -> Shown:
    """Show what closed jobs taught."""
    from tapewright.jobs.shop import look_at
    from tapewright.show.knowledge_text import standing_text
    from tapewright.words.plain import plain

    shop = look_at(options.file, options.add, options.out)
    data = {"file": str(shop.path), "added": shop.added, "written": [str(path) for path in shop.written]}
    text = standing_text(shop.standing, shop.path)
    if shop.written:
        text += f"\nWritten: {', '.join(map(str, shop.written))}; {shop.added} jobs were new."
    return data | plain(shop.standing), text
