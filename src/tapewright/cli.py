"""The command line: one of two thin doors. It parses, calls one function, prints; it computes nothing.

Everything heavy is imported inside the command that needs it, so that help comes at once.
"""

import argparse
import json
import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, NoReturn

from tapewright import __version__
from tapewright.words.problem import InputAtFaultError, Problem

DONE, BUG, INPUT_AT_FAULT = 0, 1, 2
Shown = tuple[Any, str]
"""What a command gives: plain data for --json, and text for people."""


def main(arguments: Sequence[str] | None = None) -> NoReturn:
    """Run a command and leave with its exit code: 0 done, 2 the user's input is at fault, 1 a bug."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8", errors="replace")
    given = list(sys.argv[1:] if arguments is None else arguments)
    raise SystemExit(_run(given))


def _run(given: Sequence[str]) -> int:
    as_json = "--json" in given
    try:
        options = _parser().parse_args(given)
        data, text = options.run(options)
    except InputAtFaultError as error:
        return _report(error.problems, as_json=as_json)
    except KeyboardInterrupt:
        print("Stopped.", file=sys.stderr)
        return 130
    return _print(json.dumps(data, ensure_ascii=False, allow_nan=False) if as_json else text)


def _print(text: str) -> int:
    """Print what a command gives; a reader that has had enough is no mistake of anybody's."""
    try:
        if text:
            print(text, flush=True)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return DONE


def _report(problems: Sequence[Problem], *, as_json: bool) -> int:
    if as_json:
        shown = [{"where": p.where, "found": p.found, "do": p.do} for p in problems]
        print(json.dumps({"problems": shown}, ensure_ascii=False))
    else:
        for problem in problems:
            print(problem, file=sys.stderr)
    return INPUT_AT_FAULT


class _Parser(argparse.ArgumentParser):
    """A parser whose mistakes are Problems like all others."""

    def error(self, message: str) -> NoReturn:
        raise InputAtFaultError(Problem(self.prog, f"cannot be run like this: {message}.", f"See {self.prog} --help."))


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(prog="tapewright", description="From what a cassette transport does to the part at fault.")
    parser.add_argument("--version", action="version", version=f"tapewright {__version__}")
    commands = parser.add_subparsers(required=True, parser_class=_Parser)
    for name, says, run, options in _COMMANDS:
        command = commands.add_parser(name, help=says, description=says)
        command.add_argument("--json", action="store_true", help="print one JSON document on standard output")
        for words, settings in options:
            command.add_argument(*words, **settings)
        command.set_defaults(run=run)
    return parser


# --- options ---------------------------------------------------------------------------------------------------------

Option = tuple[tuple[str, ...], dict[str, Any]]
_MACHINE: Option = (("machine",), {"metavar": "M", "help": "path of a description, or the id of a shipped machine"})
_EVIDENCE: Option = (("--evidence",), {"metavar": "E", "type": Path, "help": "evidence file (JSON)"})
_OUT_FOLDER: Option = (("--out",), {"metavar": "DIR", "type": Path, "help": "folder for the report"})
_TONE: Option = (("--tone",), {"metavar": "HZ", "type": float, "help": "frequency recorded on the test tape"})
_TRUNCATED: Option = (
    ("--accept-truncated",),
    {"action": "store_true", "help": "take what is there of a recording that is cut short"},
)
_COMPLAINT: Option = (("--complaint",), {"metavar": "WORDS", "default": "", "help": "the owner's words"})
_EQUAL: Option = (
    ("--equal-base-rates",),
    {"metavar": "P", "type": float, "help": "give every part this chance of being bad beforehand, 0 to 1"},
)
_KNOWLEDGE: Option = (
    ("--knowledge",),
    {"metavar": "FILE", "type": Path,
     "help": "what closed jobs taught; without it the shop's own, where there is one; `none` for the catalogue alone"},
)  # fmt: skip

_MADE_WITH: tuple[Option, ...] = (
    (("--test-tape",), {"metavar": "NAME", "help": "the test tape that was played, as the register names it"}),
    (("--measuring",),
     {"metavar": "FILE", "type": Path, "help": "register of test tapes and clock (default: the shop's own)"}),
    (("--clock-ppm",),
     {"metavar": "PPM", "type": float, "help": "how much faster the sound card's clock runs than it says"}),
    (("--clock-doubt-ppm",), {"metavar": "PPM", "type": float, "help": "half-width of its 95 %% interval"}),
)  # fmt: skip


def _checked(options: argparse.Namespace) -> argparse.Namespace:
    """See that numbers are where they make sense."""
    tone, equal = getattr(options, "tone", None), getattr(options, "equal_base_rates", None)
    problems = []
    if tone is not None and not 20.0 <= tone <= 90_000.0:
        problems.append(Problem("--tone", f"is {tone:g} Hz.", "Give the tone's frequency in hertz, for instance 3150."))
    if equal is not None and not 0.0 < equal < 1.0:
        problems.append(Problem("--equal-base-rates", f"is {equal:g}.", "Give a number between 0 and 1."))
    if problems:
        raise InputAtFaultError(problems)
    return options


class _Progress:
    """How far long work is, on standard error; nothing where nobody is watching."""

    def __init__(self, what: str) -> None:
        self.what, self.last = what, -1

    def __call__(self, share: float) -> None:
        tenth = int(share * 10)
        if tenth > self.last and sys.stderr.isatty():
            self.last = tenth
            print(f"{self.what}: {10 * tenth} %", file=sys.stderr)


def _note(text: str) -> None:
    print(text, file=sys.stderr)


# --- commands --------------------------------------------------------------------------------------------------------


def _evidence(options: argparse.Namespace) -> Any:
    from tapewright.jobs.evidence_file import read_evidence
    from tapewright.words.evidence import Evidence

    return Evidence() if options.evidence is None else read_evidence(options.evidence)


def _knowledge(options: argparse.Namespace) -> Any:
    from tapewright.jobs.knowledge import knowledge_in_use

    knowledge, path = knowledge_in_use(options.knowledge)
    if path is not None:
        _note(f"Learnt rates in use: {path}")
    return knowledge


def _made_with(options: argparse.Namespace) -> Any:
    from tapewright.jobs.test_tapes import measured_with

    return measured_with(options.test_tape, options.measuring, options.clock_ppm, options.clock_doubt_ppm)


def _examine(options: argparse.Namespace) -> Shown:
    from tapewright.jobs.examine import examination_json, examine
    from tapewright.machine.load import read_machine
    from tapewright.show.text import text_report

    _checked(options)
    machine = read_machine(options.machine)
    record = examine(
        machine,
        _evidence(options),
        options.recording,
        complaint=options.complaint,
        tone_hz=options.tone,
        accept_truncated=options.accept_truncated,
        equal_rate=options.equal_base_rates,
        knowledge=_knowledge(options),
        progress=_Progress("measuring"),
        made_with=_made_with(options),
    )
    data, text = examination_json(record), text_report(record, machine)
    if options.out is not None:
        from tapewright.show.report import write_report

        written = write_report(record, machine, options.out)
        data["report"] = [str(path) for path in written]
        text += "\n\nWritten: " + ", ".join(str(path) for path in written)
    return data, text


def _diagnose(options: argparse.Namespace) -> Shown:
    from tapewright.jobs.examine import examine, findings_json
    from tapewright.machine.load import read_machine
    from tapewright.show.text import text_report

    _checked(options)
    machine = read_machine(options.machine)
    record = examine(
        machine,
        _evidence(options),
        complaint=options.complaint,
        equal_rate=options.equal_base_rates,
        knowledge=_knowledge(options),
    )
    return findings_json(record), text_report(record, machine)


def _ask(options: argparse.Namespace) -> Shown:
    from tapewright.jobs.ask import Conversation, converse, kept_in
    from tapewright.jobs.evidence_file import evidence_json
    from tapewright.jobs.examine import findings_json
    from tapewright.machine.load import read_machine
    from tapewright.show.question import question_text
    from tapewright.show.text import text_report
    from tapewright.words.evidence import Evidence

    _checked(options)
    machine = read_machine(options.machine)
    there = options.evidence is not None and options.evidence.exists()
    start = _evidence(options) if there else Evidence()
    tell: Callable[[str], None] = _note if options.json else print
    talk = Conversation(machine, start, options.complaint, options.equal_base_rates, kept_in(options.evidence))
    talk.knowledge = _knowledge(options)
    record = converse(talk, iter(sys.stdin), tell, lambda record: question_text(record, machine))
    data = findings_json(record) | {"evidence": evidence_json(talk.evidence)}
    return data, text_report(record, machine)


def _demo(options: argparse.Namespace) -> Shown:
    from tapewright.jobs.demo import demo
    from tapewright.jobs.examine import examination_json
    from tapewright.show.report import write_report
    from tapewright.show.text import text_report

    shown = demo(options.out, note=_note, progress=_Progress("working"))
    written = [*shown.files, *write_report(shown.record, shown.machine, options.out)]
    data = examination_json(shown.record) | {"truth": shown.truth, "report": [str(path) for path in written]}
    listed = "\n".join(f"  {path}" for path in written)
    return data, f"{text_report(shown.record, shown.machine)}\n\nWritten:\n{listed}"


def _bench(options: argparse.Namespace) -> Shown:
    from tapewright.web.serve import serve

    if not 0 < options.port < 65536:
        raise InputAtFaultError(Problem("--port", f"is {options.port}.", "Give a number from 1 to 65535."))
    serve(options.port, note=_note)
    return {}, ""


def _measure(options: argparse.Namespace) -> Shown:
    from tapewright.jobs.examine import channel_json, hear_all
    from tapewright.machine.load import read_machine
    from tapewright.show.text import heard_text

    _checked(options)
    if options.mains is not None and not options.without_tone:
        raise InputAtFaultError(Problem("--mains", "says nothing about a test tone.", "Give --without-tone as well."))
    machine = None if options.machine is None else read_machine(options.machine)
    heard = hear_all(
        machine,
        [options.file],
        options.tone,
        _Progress("measuring"),
        accept_truncated=options.accept_truncated,
        made_with=_made_with(options),
    )
    channels = [channel_json(one, with_budget=machine is not None) for one in heard]
    data = {"file": str(options.file), "channels": channels}
    text = heard_text(heard, machine)
    if options.without_tone:
        from tapewright.measure.without_tone import measure_without_tone
        from tapewright.show.without_tone_text import without_tone_json, without_tone_text

        found = measure_without_tone(options.file, options.mains, _Progress("listening"), options.accept_truncated)
        data["without_tone"] = without_tone_json(found)
        text += "\n\n" + without_tone_text(found)
    return data, text


def _compare(options: argparse.Namespace) -> Shown:
    from tapewright.jobs.compare import compared, comparison_json, hear_one, said_in_all
    from tapewright.machine.load import read_machine
    from tapewright.show.comparing import comparison_page, comparison_text
    from tapewright.words.whole_file import write_whole

    _checked(options)
    machine = None if options.machine is None else read_machine(options.machine)
    before, after = (
        hear_one(path, machine, options.tone, _Progress(f"measuring {when}"), accept_truncated=options.accept_truncated)
        for path, when in ((options.before, "before"), (options.after, "after"))
    )
    changes = compared(before, after)
    data, says = comparison_json(options.before, options.after, changes), said_in_all(changes)
    text = comparison_text(changes, says, machine)
    if options.out is not None:
        write_whole(options.out, comparison_page(changes, says, before, after, machine))
        data["page"] = str(options.out)
        text += f"\n\nWritten: {options.out}"
    return data, text


def _owner(options: argparse.Namespace) -> Shown:
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
    sheet = owner_sheet(machine, progress=_Progress("working the sheet out"))
    write_whole(options.out, owner_page(sheet, machine))
    counted = {"signs": len(sheet.signs), "complaints": len(sheet.complaints), "verdicts": len(sheet.verdicts)}
    said = f"{counted['complaints']} complaints, {counted['verdicts']} different endings."
    return {"machine": machine.id, "page": str(options.out)} | counted, f"Written: {options.out}\n{said}"


_SAID = {True: "yes", False: "no", None: "can't tell"}


def _tapes(options: argparse.Namespace) -> Shown:
    from tapewright.jobs.test_tapes import looked_at
    from tapewright.show.tables import tapes_text
    from tapewright.words.plain import plain

    found = looked_at(options.measuring, options.played, begin=options.begin)
    text = tapes_text(found.tapes, str(found.place), found.clock_error_ppm, found.clock_doubt_ppm)
    return plain(found) | {"place": str(found.place)}, text


def _rates(options: argparse.Namespace) -> Shown:
    from tapewright.machine.load import read_machine
    from tapewright.machine.rate_twins import rate_twins
    from tapewright.machine.rates import rates
    from tapewright.machine.speeds import at_speed, speeds_m_per_s
    from tapewright.show.tables import rates_text, twins_text
    from tapewright.words.plain import plain

    machine = read_machine(options.machine)
    if options.speed is not None:
        wanted = [speed for speed in speeds_m_per_s(machine) if abs(speed * 1e3 - options.speed) < 0.5]
        if not wanted:
            known = ", ".join(f"{speed * 1e3:g}" for speed in speeds_m_per_s(machine))
            raise InputAtFaultError(
                Problem("--speed", f"is {options.speed:g} mm/s.", f"This machine plays at: {known}.")
            )
        machine = at_speed(machine, wanted[0])
    found = {mode: rates(machine, mode) for mode in machine.modes}
    twins = {mode: rate_twins(machine, mode) for mode, entered in machine.modes.items() if entered.at_capstan}
    modes = {
        mode: [
            {
                "name": key,
                "what": rate.what,
                "turns_per_s": rate.turns_per_s.value,
                "doubt": rate.turns_per_s.doubt,
                "range_per_s": rate.range_per_s,
            }
            for key, rate in turning.items()
        ]
        for mode, turning in found.items()
    }
    data = {"machine": machine.id, "speed_mm_per_s": machine.tape.speed_m_per_s * 1e3, "modes": modes}
    return data | {"twins": plain(twins)}, f"{rates_text(machine, found)}\n\n{twins_text(machine, twins)}"


def _forces(options: argparse.Namespace) -> Shown:
    from tapewright.machine.all_forces import all_forces
    from tapewright.machine.load import read_machine
    from tapewright.show.force_tables import forces_text
    from tapewright.words.plain import plain

    machine = read_machine(options.machine)
    found = all_forces(machine)
    return {"machine": machine.id} | plain(found), forces_text(machine, found)


def _sizes(options: argparse.Namespace) -> Shown:
    from tapewright.jobs.sizing import sizing
    from tapewright.machine.load import read_machine
    from tapewright.show.sizing_text import sizing_text
    from tapewright.words.plain import plain

    machine = read_machine(options.machine)
    found = sizing(machine, options.string, options.old, options.near, options.stock)
    return {"machine": machine.id} | plain(found), sizing_text(machine, found)


def _machine(options: argparse.Namespace) -> Shown:
    from tapewright.jobs import describing

    wanted, given = options.action, options.what
    if wanted in ("new", "check", "draw") and not given:
        what = {"new": "LAYOUT", "check": "FILE", "draw": "M"}[wanted]
        raise InputAtFaultError(Problem(f"machine {wanted}", f"needs {what}.", "See tapewright machine --help."))
    if wanted == "new":
        return describing.new(given, options.out, options.id, complete=options.complete)
    if wanted == "check":
        return describing.check(given)
    if wanted == "draw":
        return _draw(options)
    return describing.schema(options.out) if wanted == "schema" else describing.list_layouts()


def _draw(options: argparse.Namespace) -> Shown:
    from tapewright.machine.load import read_machine
    from tapewright.show.drawing import drawing
    from tapewright.words.whole_file import write_whole

    svg = drawing(read_machine(options.what), options.mode)
    if options.out is None:
        return {"svg": svg}, svg
    write_whole(options.out, svg)
    return {"written": str(options.out)}, f"Written: {options.out}"


def _signs(options: argparse.Namespace) -> Shown:
    from tapewright.faults.cautions import cautions
    from tapewright.faults.mechanism import mechanism
    from tapewright.faults.search import found_signs
    from tapewright.faults.signs import signs
    from tapewright.machine.load import read_machine
    from tapewright.show.tables import signs_text

    machine = read_machine(options.machine)
    found = list(signs(mechanism(machine)))
    if options.find:
        found = found_signs(found, options.find, most=12)
    listed = [
        {
            "id": s.id, "says": s.says, "mode": s.mode, "how": s.how, "opens_case": s.opens_case,
            "minutes": s.minutes, "cautions": cautions(s.hazards),
        }
        for s in found
    ]  # fmt: skip
    return {"machine": machine.id, "signs": listed}, signs_text(machine, found)


def _faults(options: argparse.Namespace) -> Shown:
    from tapewright.jobs.faults_list import faults_list
    from tapewright.machine.load import read_machine
    from tapewright.show.tables import faults_text

    machine = read_machine(options.machine)
    listed = faults_list(machine, _knowledge(options))
    return {"machine": machine.id, "faults": listed}, faults_text(machine, listed)


def _close(options: argparse.Namespace) -> Shown:
    from tapewright.jobs.shop import close_into
    from tapewright.machine.load import read_machine
    from tapewright.show.knowledge_text import closed_text
    from tapewright.words.plain import plain

    machine = read_machine(options.machine)
    done = close_into(machine, _evidence(options), options.found, options.cured, options.job, options.into)
    text = closed_text(machine, done.job, done.how, done.into, done.jobs)
    return {"how": done.how, "into": str(done.into), "jobs": done.jobs, "job": plain(done.job)}, text


def _show_knowledge(options: argparse.Namespace) -> Shown:
    from tapewright.jobs.shop import look_at
    from tapewright.show.knowledge_text import standing_text
    from tapewright.words.plain import plain

    shop = look_at(options.file, options.add, options.out)
    data = {"file": str(shop.path), "added": shop.added, "written": [str(path) for path in shop.written]}
    text = standing_text(shop.standing, shop.path)
    if shop.written:
        text += f"\nWritten: {', '.join(map(str, shop.written))}; {shop.added} jobs were new."
    return data | plain(shop.standing), text


def _simulate(options: argparse.Namespace) -> Shown:
    from tapewright.faults.applied import parse_fault
    from tapewright.machine.load import read_machine
    from tapewright.simulate.recording import simulate
    from tapewright.words.plain import plain

    machine = read_machine(options.machine)
    faults = [parse_fault(machine, text) for text in options.fault]
    truth = simulate(
        machine, faults, options.out, duration_s=options.seconds, seed=options.seed, progress=_Progress("playing")
    )
    return plain(truth), f"Written: {options.out} and {options.out.with_suffix('.json')}"


_BAD: Option = (
    ("--bad",),
    {"metavar": "PART=KIND", "dest": "found", "action": "append", "default": [], "type": lambda text: ("--bad", text),
     "help": "found out of order; give --bad and --sound in the order in which the parts were looked at"},
)  # fmt: skip
_SOUND: Option = (
    ("--sound",),
    {"metavar": "PART", "dest": "found", "action": "append", "default": [], "type": lambda text: ("--sound", text),
     "help": "looked at and found sound; what is not named stays unknown"},
)  # fmt: skip
_STRING: Option = (
    ("--string",),
    {"metavar": "BELT=LENGTH", "action": "append", "default": [], "help": "a string laid along a belt's way, in mm"},
)
_OLD: Option = (
    ("--old",),
    {"metavar": "BELT=LENGTH[:KIND]", "action": "append", "default": [],
     "help": "the old belt; KIND is inside length (usual), inside diameter or lay-flat length"},
)  # fmt: skip
_NEAR: Option = (
    ("--near",),
    {"metavar": "BELT=LENGTH[,WIDTHxTHICKNESS]", "action": "append", "default": [],
     "help": "what a belt of a near size would do"},
)  # fmt: skip
_RECORDING: Option = (
    ("--recording",),
    {"metavar": "F", "type": Path, "action": "append", "default": [], "help": "of a test tone; may be repeated"},
)
_COMMANDS: tuple[tuple[str, str, Callable[[argparse.Namespace], Shown], tuple[Option, ...]], ...] = (
    ("examine", "the main job in one go: beliefs, next check, plan, readings, report", _examine,
     (_MACHINE, _EVIDENCE, _RECORDING, _OUT_FOLDER, _TONE, _TRUNCATED, _COMPLAINT, _EQUAL, _KNOWLEDGE, *_MADE_WITH)),
    ("ask", "the same in the terminal, one check at a time", _ask,
     (_MACHINE, _EVIDENCE, _COMPLAINT, _EQUAL, _KNOWLEDGE)),
    ("demo", "the main job on an invented machine, end to end, into a folder", _demo,
     ((("--out",), {"metavar": "DIR", "type": Path, "default": Path("demo"), "help": "folder (default: demo)"}),)),
    ("bench", "the local page", _bench,
     ((("--port",), {"metavar": "N", "type": int, "default": 8137, "help": "port on this computer (default: 8137)"}),)),
    ("measure", "readings from a recording of a test tone", _measure,
     ((("file",), {"metavar": "FILE", "type": Path, "help": "the recording; it is never changed"}),
      (("--machine",), {"metavar": "M", "help": "set the lines against this machine's rates"}),
      (("--without-tone",), {"action": "store_true",
                             "help": "also estimate slow speed change from hum and steady notes, of lower grade"}),
      (("--mains",), {"metavar": "HZ", "type": float, "help": "with --without-tone: the mains where it was recorded"}),
      _TONE, _TRUNCATED, *_MADE_WITH)),
    ("tapes", "the shop's test tapes, how often each was played, and the sound card's clock", _tapes,
     (_MADE_WITH[1],
      (("--begin",), {"action": "store_true", "help": "write a register to fill in"}),
      (("--played",), {"metavar": "NAME", "action": "append", "default": [], "help": "count a pass nobody recorded"}))),
    ("compare", "what changed between two recordings, and whether it is more than doubt", _compare,
     ((("before",), {"metavar": "BEFORE", "type": Path, "help": "a recording, or what `measure --json` printed"}),
      (("after",), {"metavar": "AFTER", "type": Path, "help": "the same of the later one"}),
      (("--machine",), {"metavar": "M", "help": "set the lines against this machine's rates"}),
      (("--out",), {"metavar": "F.html", "type": Path, "help": "write a page with both on one plot"}),
      _TONE, _TRUNCATED)),
    ("owner", "a sheet for an owner far away, and the code that comes back from it", _owner,
     (_MACHINE,
      (("--out",), {"metavar": "F", "type": Path, "help": "the sheet to write; with --code the evidence file"}),
      (("--code",), {"metavar": "CODE", "default": "", "help": "read the answers an owner sent"}))),
    ("machine", "start, check and draw the description of a machine", _machine,
     ((("action",), {"choices": ["new", "check", "draw", "layouts", "schema"],
                     "help": "a starter, all mistakes at once, a picture, what ships, a schema for editors"}),
      (("what",), {"nargs": "?", "metavar": "WHAT", "help": "LAYOUT for new, FILE for check, M for draw"}),
      (("--out",), {"metavar": "F", "type": Path, "help": "file to write; without it the result is printed"}),
      (("--id",), {"metavar": "ID", "default": "", "help": "new: id of the machine"}),
      (("--complete",), {"action": "store_true", "help": "new: the complete invented machine instead of a starter"}),
      (("--mode",), {"metavar": "MODE", "default": "play", "help": "draw: the mode (default: play)"}))),
    ("rates", "how fast each rotor turns, mode by mode", _rates,
     (_MACHINE, (("--speed",), {"metavar": "MM_PER_S", "type": float, "help": "another of its tape speeds"}))),
    ("forces", "what each coupling can pass against what is asked of it", _forces, (_MACHINE,)),
    ("sizes", "which belts, tyres and rollers to order", _sizes,
     (_MACHINE, _STRING, _OLD, _NEAR,
      (("--stock",), {"metavar": "CSV", "type": Path, "help": "the shop's stock list: the best three for each part"}))),
    ("signs", "every sign this machine can show, and how to look for it", _signs,
     (_MACHINE, (("--find",), {"metavar": "WORDS", "default": "", "help": "only those that fit these words"}))),
    ("faults", "every fault this machine can have, and the signs it leads to", _faults,
     (_MACHINE, _KNOWLEDGE)),
    ("diagnose", "from evidence to beliefs, the next check and the plan", _diagnose,
     (_MACHINE, (_EVIDENCE[0], _EVIDENCE[1] | {"required": True}), _COMPLAINT, _EQUAL, _KNOWLEDGE)),
    ("close", "close a job: what was found, for the next machine to profit from", _close,
     (_MACHINE, _EVIDENCE, _BAD, _SOUND,
      (("--cured",), {"metavar": "PART", "action": "append", "default": [], "help": "its mending cured the complaint"}),
      (("--job",), {"metavar": "NAME", "default": "", "help": "what you call the job, to tell it from others"}),
      (("--into",), {"metavar": "FILE", "type": Path, "help": "file of knowledge (default: the shop's own)"}))),
    ("knowledge", "what closed jobs taught, and how well it was predicted", _show_knowledge,
     ((("file",), {"nargs": "?", "metavar": "FILE", "type": Path, "help": "default: the shop's own"}),
      (("--add",), {"metavar": "FILE", "type": Path, "action": "append", "default": [],
                    "help": "put the jobs of another file to it, none twice; may be repeated"}),
      (("--out",), {"metavar": "FILE", "type": Path, "help": "write all of it into another file as well"}))),
    ("simulate", "a recording from a machine with faults, and the truth beside it", _simulate,
     (_MACHINE,
      (("--fault",), {"metavar": "PART=KIND[:SEVERITY]", "action": "append", "default": [], "help": "may be repeated"}),
      (("--out",), {"metavar": "F.wav", "type": Path, "required": True, "help": "the recording to write"}),
      (("--seconds",), {"metavar": "S", "type": float, "default": 60.0, "help": "length (default: 60)"}),
      (("--seed",), {"metavar": "N", "type": int, "default": 1, "help": "the same seed gives the same recording"}))),
)  # fmt: skip
