"""What a shop has learnt, and a job just closed, as plain text."""

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Final

from tapewright.diagnose.closed_jobs import NOT_LOOKED_AT, SOUND, ClosedJob
from tapewright.diagnose.learning import POOL_WEIGHT, RATE_WEIGHT, SENSE_WEIGHT, SIGN_WEIGHT
from tapewright.diagnose.learnt import LearntRate, LearntSense
from tapewright.diagnose.shop_standing import ENOUGH_JOBS, Standing, Track
from tapewright.machine.parts import Machine
from tapewright.show.columns import heading, paragraph, table
from tapewright.show.said import name_of, out_of_order_as, percent
from tapewright.words.estimate import Estimate

TRACKS: Final = {
    "parts": "Parts that were looked at: said to be out of order, just before",
    "answers": "Answers: said to be “yes”, just before",
}


def closed_text(machine: Machine, job: ClosedJob, how: str, into: Path, jobs: int) -> str:
    """Say what was kept of a job, and what had been predicted.

    Arguments:
        machine: the job's.
        job: as it is kept.
        how: "new", "put right" or "known".
        into: the file.
        jobs: how many jobs it holds now.
    """
    looked = [one for one in job.parts if one.found != NOT_LOOKED_AT]
    rows = [
        [name_of(machine, one.part), _found(machine, one.part, one.found), percent(one.said or 0.0),
         ", ".join(percent(step) for step in one.course)]
        for one in looked
    ]  # fmt: skip
    headings = ["part", "found", "said just before", "said before each answer, and after the last"]
    said = {
        "new": "The job is closed.",
        "put right": "This job was closed before; what was found is put right.",
        "known": "This job is known just so; it is not counted twice. Was it another machine? Then give --job NAME.",
    }
    pieces = [
        heading("Job closed"),
        paragraph(said[how]),
        table(headings, rows, right=[2]),
        paragraph("Every other part counts as unknown, not as sound."),
    ]
    if job.leading:
        right = " It was among what cured." if job.leading in job.cured else ""
        share = percent(job.leading_share)
        pieces.append(paragraph(f"The leading suspect was the {name_of(machine, job.leading)}, with {share}.{right}"))
    pieces.append(paragraph(f"Kept in {into}, which holds {jobs} closed job{'s' * (jobs != 1)}."))
    return "\n".join(pieces)


def _found(machine: Machine, part: str, kind: str) -> str:
    return "sound" if kind == SOUND else out_of_order_as(machine, part, kind)


def standing_text(found: Standing, path: Path) -> str:
    """Set out what a shop has learnt, against the catalogue, and how well it predicted.

    Arguments:
        found: where the shop stands.
        path: the file it comes from.
    """
    of = ", ".join(f"{layout}: {jobs}" for layout, jobs in found.layouts.items())
    older = f" {found.tallies} older counts were put in." if found.tallies else ""
    pieces = [
        heading("What the shop has learnt"),
        paragraph(f"{path}: {found.jobs} closed job{'s' * (found.jobs != 1)}{f' ({of})' if of else ''}.{older}"),
        _rates(found.rates),
        _senses(found.senses),
        _tracks(found),
    ]
    return "\n\n".join(piece for piece in pieces if piece) + "\n"


def _rates(rates: Sequence[LearntRate]) -> str:
    if not rates:
        return ""
    rows = [
        [rate.layout, rate.part, percent(rate.catalogue), percent(rate.learnt),
         f"{percent(rate.low)} to {percent(rate.high)}", f"{rate.bad} of {rate.looked_at}", f"{rate.jobs}"]
        for rate in rates
    ]  # fmt: skip
    headings = ["layout", "part", "catalogue", "learnt", "95 % interval", "found bad", "jobs"]
    note = (
        f"Chance of being out of order. The catalogue counts for {POOL_WEIGHT:.0f} jobs against what was seen of such "
        f"parts elsewhere, and that for {RATE_WEIGHT:.0f} against what was seen of this part. Where a part was not "
        "looked at, what the evidence says of it counts."
    )
    pieces = [
        heading("How often parts are out of order"),
        table(headings, rows, right=[2, 3, 4, 5, 6]),
        paragraph(note),
    ]
    return "\n".join(pieces)


def _senses(senses: Sequence[LearntSense]) -> str:
    if not senses:
        return ""
    rows = [
        [one.sense, percent(one.usual_hit), percent(one.hit), _small(one.usual_false), _small(one.false_rate),
         f"{one.answers}"]
        for one in senses
    ]  # fmt: skip
    headings = ["sense", "noticed, usual", "learnt", "by mistake, usual", "learnt", "answers"]
    note = (
        "Only answers count where what was found settles whether the sign should have shown. The usual rates count "
        f"for {SENSE_WEIGHT:.0f} answers, and those of a sense for {SIGN_WEIGHT:.0f} against a sign's own."
    )
    return "\n".join(
        [heading("How well signs are noticed"), table(headings, rows, right=[1, 2, 3, 4, 5]), paragraph(note)]
    )


def _small(chance: float) -> str:
    return f"{100.0 * chance:.1f} %"


def _tracks(found: Standing) -> str:
    if not found.tracks and found.leading_right is None:
        return ""
    pieces = [heading("How well it was predicted")]
    right = found.leading_right
    if right is not None:
        so = round(right.came_true * right.count)
        told = f"{so} of {right.count} jobs ({percent(right.low)} to {percent(right.high)})"
        pieces.append(paragraph(f"The leading suspect was among what cured in {told}."))
    for track in found.tracks:
        pieces += ["", *_track(track)]
    if found.jobs < ENOUGH_JOBS:
        few = f"With fewer than {ENOUGH_JOBS} jobs the intervals are all that can be said; no table by chance is given."
        pieces += ["", paragraph(few)]
    return "\n".join(pieces)


def _track(track: Track) -> list[str]:
    parts = track.murphy
    lines = [
        paragraph(f"{TRACKS[track.what]}: {track.count} in {track.jobs} job{'s' * (track.jobs != 1)}."),
        paragraph(
            f"  Said {percent(track.said)} on average, came true {percent(track.came_true)}; said too much by "
            f"{_with_doubt(track.bias, 100.0, ' points')}."
        ),
        paragraph(
            f"  Brier score {_with_doubt(track.brier)} (0 is best), log score {track.log_score:.3f}; reliability "
            f"{parts.reliability:.3f}, resolution {parts.resolution:.3f}, uncertainty {parts.uncertainty:.3f}."
        ),
    ]
    if track.bins:
        rows = [
            [
                percent(one.predicted),
                percent(one.came_true),
                f"{percent(one.low)} to {percent(one.high)}",
                f"{one.count}",
            ]
            for one in track.bins
        ]
        lines.append(table(["said", "came true", "95 % interval", "cases"], rows, right=[0, 1, 2, 3]))
    return lines


def _with_doubt(found: Estimate, times: float = 1.0, unit: str = "") -> str:
    places = 3 if times == 1.0 else 1
    value = f"{times * found.value:.{places}f}"
    if not math.isfinite(found.doubt):
        return f"{value}{unit} (one job gives no interval)"
    return f"{value} ± {times * found.doubt:.{places}f}{unit}"
