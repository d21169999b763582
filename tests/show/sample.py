"""A record to show. The machine, the complaint, the recordings and every number in them are invented."""

from functools import cache

import numpy as np

from tapewright.diagnose.beliefs import posterior, ranked
from tapewright.diagnose.clash import clashes
from tapewright.diagnose.likelihoods import of_observations
from tapewright.diagnose.network import network
from tapewright.diagnose.next_check import next_check
from tapewright.diagnose.plan import plan
from tapewright.machine.library import shipped
from tapewright.words.evidence import Evidence, Observation
from tapewright.words.findings import BudgetItem
from tapewright.words.reading import Reading
from tapewright.words.record import Answered, Heard, Record
from tapewright.words.signal import Line, Trace

COMPLAINT = "Play squeals away like fast forward, then stops. The last tape came out with a loop."
NOTICED = {
    "four_track": (
        ("play_tape_races", True),
        ("play_loop", True),
        ("play_capstan_still", True),
        ("rewind_dead", False),
    ),
    "four_track_starter": (("play_stays_down", True), ("play_cam_motor_heard", True), ("play_rises_late", None)),
    "one_motor_portable": (("play_tape_uneven", True), ("play_pack_loose", True)),
}
RATE_HZ = 500.0


@cache
def record(machine_id: str = "four_track", *, with_recordings: bool = True) -> Record:
    machine = shipped(machine_id)
    known = network(machine)
    given = NOTICED.get(machine_id, ())
    observations = tuple(Observation(id=sign, present=present) for sign, present in given if sign in known.signs)
    likelihoods = of_observations(known, observations)
    beliefs, none = ranked(known, posterior(known, likelihoods))
    return Record(
        machine_id=machine.id,
        title=machine.title,
        layout=machine.layout,
        invented=machine.invented,
        complaint=COMPLAINT,
        made_at="2001-02-03T04:05:06+00:00",
        version="0.1.0",
        evidence=Evidence(observations, age_years=38.0),
        answered=tuple(Answered(o.id, known.signs[o.id].says, known.signs[o.id].mode, o.present) for o in observations),
        beliefs=tuple(beliefs),
        none_of_these=none,
        next_check=next_check(known, likelihoods, {o.id for o in observations}),
        plan=tuple(plan(known, beliefs, observations)),
        clash=tuple(clashes(known, observations)),
        heard=(heard(), without_a_tone()) if with_recordings else (),
        notes=("The complaint, the recordings and their readings are invented.",),
    )


@cache
def heard() -> Heard:
    """Give a channel whose speed is a sum of steady lines, one of them nobody's, with a dropout masked."""
    times = np.arange(60 * int(RATE_HZ)) / RATE_HZ
    rng = np.random.default_rng(7)
    deviation = 0.0012 * np.sin(2 * np.pi * 12.05 * times) + 0.0005 * np.sin(2 * np.pi * 57.6 * times + 1)
    deviation += 0.0006 * np.sin(2 * np.pi * 8.3 * times + 2) + 0.0002 * rng.standard_normal(len(times))
    deviation += 0.004 * np.sin(2 * np.pi * 0.55 * times)
    deviation[4000:5500] = np.nan
    frequencies = np.geomspace(0.2, 200.0, 9000)
    shape = np.full(len(frequencies), 0.004)
    for at, size in ((12.05, 0.1), (57.6, 0.04), (8.3, 0.05), (0.55, 0.3)):
        shape += size / (1 + ((frequencies - at) / 0.06) ** 2)
    return Heard(
        file="invented_side_a.wav",
        channel=1,
        tone={"found": True, "frequency_hz": 3163.2, "start_s": 1.5, "end_s": 61.5, "snr_db": 48.2, "why_not": None},
        readings={
            "speed_error_pct": Reading(
                0.4217, "%", 0.053, method="mean of the test tone", conditions="1.5 s to 61.5 s"
            ),
            "drift_pct": Reading(None, "%", why_not="A minute of tone is needed, and 60 s were found."),
            "weighted_peak_pct": Reading(
                0.1432, "%", 0.0091, method="IEC 60386, two-sigma", conditions="60 s, 2 dropouts"
            ),
            "weighted_rms_pct": Reading(0.0711, "%", 0.0042, method="IEC 60386 weighting, rms", conditions="60 s"),
        },
        lines=(Line(12.05, 0.12, 0.004, 0.01, 1e-9), Line(8.3, 0.06, 0.005, 0.01, 1e-6)),
        budget=(
            BudgetItem("takeup_reel", 1, 0.55, 0.4, 0.02, 0.9),
            BudgetItem("unexplained", 0, 8.3, 0.06, 0.005, 0.0),
            BudgetItem("capstan", 1, 12.05, 0.12, 0.004, 0.97),
            BudgetItem("capstan_motor", 1, 57.6, 0.05, 0.004, 0.83),
        ),
        unexplained_pct=0.06,
        trace=Trace(deviation, RATE_HZ, start_s=1.5),
        spectrum_hz=tuple(frequencies.tolist()),
        spectrum_pct=tuple(shape.tolist()),
        notes=("Two dropouts were left out.",),
    )


def without_a_tone() -> Heard:
    why = "The level never holds still: this is music or speech."
    refused = {name: Reading(None, "%", why_not=why) for name in ("speed_error_pct", "weighted_peak_pct")}
    return Heard("invented_side_a.wav", 2, {"found": False, "why_not": why}, refused)
