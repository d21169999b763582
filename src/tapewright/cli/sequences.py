"""Commands about the test sequence: to write one, and what `measure` says of one."""

import argparse
from collections.abc import Sequence
from typing import TYPE_CHECKING

from tapewright.cli.given import Progress, Shown
from tapewright.words.problem import InputAtFaultError, Problem

if TYPE_CHECKING:
    from tapewright.jobs.one_pass import PassHeard
    from tapewright.words.record import Heard


def pass_given(heard: "Sequence[Heard]", passes: "Sequence[PassHeard]") -> Shown:
    """Say what a test sequence in a recording tells, as data and as text; None and nothing where there is none.

    Arguments:
        heard: the channels of the recording.
        passes: the sequence that was found in it, if any.
    """
    from tapewright.jobs.one_pass import one_pass_json
    from tapewright.jobs.pass_said import listed_json
    from tapewright.show.acceptance_rows import acceptance_text
    from tapewright.show.one_pass_text import found_text, pass_text
    from tapewright.words.one_pass import summed_up

    said = next((one.one_pass for one in heard if one.one_pass is not None), None)
    if not passes or said is None:
        return None, ""
    found = passes[0]
    texts = [
        found_text(found.found),
        *([] if found.readings is None else [pass_text(found.readings, found.found.speed_ratio)]),
        acceptance_text(said.acceptance, summed_up(said.acceptance)),
    ]
    return {**(one_pass_json(found) or {}), **listed_json(said)}, "\n\n" + "\n\n".join(filter(None, texts))


def run_sequence(options: argparse.Namespace) -> Shown:
    """Write a test sequence, what is on it, and the sheet that goes with it."""
    from tapewright.measure.sequence_plan import planned_sequence
    from tapewright.measure.sequence_writing import REFERENCE_DBFS, write_sequence
    from tapewright.show.sequence_sheet import sequence_page, sequence_sheet, sequence_text
    from tapewright.words.whole_file import write_whole

    page = options.out.with_suffix(".html")
    if page.is_dir():
        raise InputAtFaultError(Problem(str(page), "is a folder, and the sheet has to go there.", "Give another name."))
    sequence = planned_sequence(options.tape_speed / 100.0, options.tracks, options.type)
    data = write_sequence(sequence, options.out, options.rate, Progress("writing"))
    sheet = sequence_sheet(sequence, REFERENCE_DBFS, options.out.name)
    write_whole(page, sequence_page(sheet))
    written = [str(options.out.with_suffix(ending)) for ending in (options.out.suffix, ".json", ".html")]
    return data | {"written": written}, f"{sequence_text(sheet)}\n\nWritten: {', '.join(written)}"
