"""Commands that examine: from evidence and recordings to findings."""

import argparse
import sys
from collections.abc import Callable
from typing import TYPE_CHECKING

from tapewright.cli.given import Progress, Shown, checked, evidence_given, knowledge_given, made_with_given, note
from tapewright.cli.sequences import pass_given
from tapewright.words.problem import InputAtFaultError, Problem

if TYPE_CHECKING:
    from tapewright.jobs.one_pass import PassHeard


def run_examine(options: argparse.Namespace) -> Shown:
    """Examine a machine: evidence and recordings to findings, and the report."""
    from tapewright.jobs.examine import examination_json, examine
    from tapewright.machine.load import read_machine
    from tapewright.show.text import text_report

    checked(options)
    machine = read_machine(options.machine)
    record = examine(
        machine,
        evidence_given(options),
        options.recording,
        complaint=options.complaint,
        tone_hz=options.tone,
        accept_truncated=options.accept_truncated,
        equal_rate=options.equal_base_rates,
        knowledge=knowledge_given(options),
        progress=Progress("measuring"),
        made_with=made_with_given(options),
    )
    data, text = examination_json(record), text_report(record, machine)
    if options.out is not None:
        from tapewright.show.report import write_report

        written = write_report(record, machine, options.out)
        data["report"] = [str(path) for path in written]
        text += "\n\nWritten: " + ", ".join(str(path) for path in written)
    return data, text


def run_diagnose(options: argparse.Namespace) -> Shown:
    """Diagnose from evidence alone."""
    from tapewright.jobs.examine import examine, findings_json
    from tapewright.machine.load import read_machine
    from tapewright.show.text import text_report

    checked(options)
    machine = read_machine(options.machine)
    record = examine(
        machine,
        evidence_given(options),
        complaint=options.complaint,
        equal_rate=options.equal_base_rates,
        knowledge=knowledge_given(options),
    )
    return findings_json(record), text_report(record, machine)


def run_ask(options: argparse.Namespace) -> Shown:
    """Ask one check at a time, in the terminal."""
    from tapewright.jobs.ask import Conversation, converse, kept_in
    from tapewright.jobs.evidence_file import evidence_json
    from tapewright.jobs.examine import findings_json
    from tapewright.machine.load import read_machine
    from tapewright.show.question import question_text
    from tapewright.show.text import text_report
    from tapewright.words.evidence import Evidence

    checked(options)
    machine = read_machine(options.machine)
    there = options.evidence is not None and options.evidence.exists()
    start = evidence_given(options) if there else Evidence()
    tell: Callable[[str], None] = note if options.json else print
    talk = Conversation(machine, start, options.complaint, options.equal_base_rates, kept_in(options.evidence))
    talk.knowledge = knowledge_given(options)
    record = converse(talk, iter(sys.stdin), tell, lambda record: question_text(record, machine))
    data = findings_json(record) | {"evidence": evidence_json(talk.evidence)}
    return data, text_report(record, machine)


def run_demo(options: argparse.Namespace) -> Shown:
    """Show the main job on an invented machine."""
    from tapewright.jobs.demo import demo
    from tapewright.jobs.examine import examination_json
    from tapewright.show.report import write_report
    from tapewright.show.text import text_report

    shown = demo(options.out, note=note, progress=Progress("working"))
    written = [*shown.files, *write_report(shown.record, shown.machine, options.out)]
    data = examination_json(shown.record) | {"truth": shown.truth, "report": [str(path) for path in written]}
    listed = "\n".join(f"  {path}" for path in written)
    return data, f"{text_report(shown.record, shown.machine)}\n\nWritten:\n{listed}"


def run_measure(options: argparse.Namespace) -> Shown:
    """Measure a recording."""
    from tapewright.jobs.examine import channel_json, hear_all
    from tapewright.machine.load import read_machine
    from tapewright.show.text import heard_text

    checked(options)
    if options.mains is not None and not options.without_tone:
        raise InputAtFaultError(Problem("--mains", "says nothing about a test tone.", "Give --without-tone as well."))
    machine = None if options.machine is None else read_machine(options.machine)
    passes: list[PassHeard] = []
    heard = hear_all(
        machine,
        [options.file],
        options.tone,
        Progress("measuring"),
        accept_truncated=options.accept_truncated,
        made_with=made_with_given(options),
        passes=passes,
    )
    channels = [channel_json(one, with_budget=machine is not None) for one in heard]
    one_pass, said = pass_given(heard, passes)
    data = {"file": str(options.file), "channels": channels, "one_pass": one_pass}
    text = heard_text(heard, machine) + said
    if options.without_tone:
        from tapewright.measure.without_tone import measure_without_tone
        from tapewright.show.without_tone_text import without_tone_json, without_tone_text

        found = measure_without_tone(options.file, options.mains, Progress("listening"), options.accept_truncated)
        data["without_tone"] = without_tone_json(found)
        text += "\n\n" + without_tone_text(found)
    return data, text


def run_compare(options: argparse.Namespace) -> Shown:
    """Set two recordings side by side."""
    from tapewright.jobs.compare import compared, comparison_json, heads_compared, hear_one, said_in_all
    from tapewright.machine.load import read_machine
    from tapewright.show.comparing import comparison_page, comparison_text
    from tapewright.words.whole_file import write_whole

    checked(options)
    machine = None if options.machine is None else read_machine(options.machine)
    before, after = (
        hear_one(path, machine, options.tone, Progress(f"measuring {when}"), accept_truncated=options.accept_truncated)
        for path, when in ((options.before, "before"), (options.after, "after"))
    )
    changes = compared(before, after)
    heads = heads_compared(before, after)
    data, says = comparison_json(options.before, options.after, changes, heads), said_in_all(changes, heads)
    text = comparison_text(changes, says, machine, heads)
    if options.out is not None:
        write_whole(options.out, comparison_page(changes, says, before, after, machine, heads))
        data["page"] = str(options.out)
        text += f"\n\nWritten: {options.out}"
    return data, text
