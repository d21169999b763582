"""Commands about the test sequence: to write one, and what `measure` says of one."""

import argparse

from tapewright.cli.given import Progress, Shown
from tapewright.words.problem import InputAtFaultError, Problem


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
