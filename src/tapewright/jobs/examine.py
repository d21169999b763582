"""The one pipeline: a description, what was noticed, and recordings if there are any -> a Record.

Measure each recording; set its lines against the machine's rates; turn signs and readings into beliefs; choose the next
check; put the repairs in order; say why.
"""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from tapewright import __version__
from tapewright.diagnose.beliefs import posterior, ranked
from tapewright.diagnose.budget import beside_lines, budget, turning_part, unexplained_pct
from tapewright.diagnose.clash import clashes
from tapewright.diagnose.closed_jobs import Knowledge
from tapewright.diagnose.explain import chains, reasons
from tapewright.diagnose.learning import with_knowledge
from tapewright.diagnose.likelihoods import checked_evidence, functions_of, of_budget, of_readings
from tapewright.diagnose.network import network, with_functions
from tapewright.diagnose.next_check import look_ahead
from tapewright.diagnose.plan import plan
from tapewright.diagnose.told_when import as_told
from tapewright.diagnose.unexplained import unexplained
from tapewright.jobs.one_pass import PassHeard, one_pass_in
from tapewright.jobs.pass_readings import pass_notes, pass_readings
from tapewright.jobs.pass_said import listed_json, with_other_speed, with_pass
from tapewright.jobs.rounds import Round, latest_round, with_more
from tapewright.jobs.stretches_heard import over_the_side, with_together
from tapewright.jobs.test_tapes import MeasuredWith, count_pass
from tapewright.jobs.verdicts import verdicts
from tapewright.machine.parts import Machine
from tapewright.measure.events import find_events
from tapewright.measure.in_angle import order_picture
from tapewright.measure.recording import ChannelReadings, measure_recording
from tapewright.measure.test_tape import KnownTape, through_tape
from tapewright.words.evidence import Evidence
from tapewright.words.findings import Belief, BudgetItem
from tapewright.words.plain import plain
from tapewright.words.problem import InputAtFaultError, Problem
from tapewright.words.reading import Reading
from tapewright.words.record import Answered, Heard, Record
from tapewright.words.signal import OrderPicture

READINGS: Final = (
    "speed_error_pct", "drift_pct", "weighted_peak_pct", "weighted_quasi_peak_pct", "weighted_rms_pct",
    "unweighted_peak_pct", "unweighted_rms_pct",
)  # fmt: skip
"""What the diagnosis knows of."""
SHOWN: Final = (
    "speed_error_pct", "drift_pct", "weighted_peak_pct", "weighted_quasi_peak_pct", "weighted_rms_pct",
    "weighted_average_pct", "unweighted_peak_pct", "unweighted_rms_pct", "unweighted_average_pct", "wow_band_peak_pct",
    "wow_band_rms_pct", "flutter_band_peak_pct", "flutter_band_rms_pct",
)  # fmt: skip
"""Every reading of a recording."""
EXPLAINED: Final = 6
"""Reasons are written out for this many of the leading beliefs."""
Progress = Callable[[float], None]


def examine(
    machine: Machine,
    evidence: Evidence,
    recordings: Sequence[Path] = (),
    *,
    complaint: str = "",
    tone_hz: float | None = None,
    equal_rate: float | None = None,
    skipped: Collection[str] = (),
    accept_truncated: bool = False,
    progress: Progress | None = None,
    heard: Sequence[Heard] = (),
    knowledge: Knowledge | None = None,
    made_with: MeasuredWith | None = None,
) -> Record:
    """Do the main job.

    Arguments:
        machine: as described; a starter without a single size will do.
        evidence: what was noticed and measured so far.
        recordings: of a test tone played by the machine.
        complaint: the owner's words, for the report.
        tone_hz: the frequency recorded on the test tape, where it is not one of the usual ones.
        equal_rate: give every part this chance of being out of order beforehand, instead of the catalogue's.
        skipped: signs not to propose as the next check.
        accept_truncated: take what is there of a recording that is cut short.
        progress: is told how much of the recordings is done, 0 to 1.
        heard: what recordings that were measured before say, channel by channel.
        knowledge: closed jobs to go by, beside the catalogue; an `equal_rate` stands against their base rates.
        made_with: the test tape that the recordings were made with, and the sound card's clock.

    Raises:
        InputAtFaultError: for evidence or recordings that cannot be used.
    """
    net = network(machine, evidence.age_years, equal_rate)
    checked_evidence(net, evidence)
    listened = hear_all(machine, recordings, tone_hz, progress, accept_truncated=accept_truncated, made_with=made_with)
    heard = [*heard, *listened]
    of_pass = pass_readings(machine, heard, evidence.readings)
    taken = {name: one for name, one in of_pass.items() if one.value is not None}
    readings = {**_best_readings(heard), **taken, **evidence.readings}
    net, told = as_told(with_functions(net, functions_of(machine, readings)), evidence)
    if knowledge is not None:
        net = with_knowledge(net, knowledge, rates=equal_rate is None)
    latest = latest_round(net, told)
    likelihoods = with_more(
        latest,
        of_readings(latest.network, readings),
        of_budget(latest.network, [item for one in heard for item in one.budget]),
    )
    believed = posterior(latest.network, likelihoods, with_words=False)
    beliefs, none = ranked(latest.network, believed)
    beliefs = _with_reasons(latest, beliefs)
    odd = unexplained(latest.network, readings, latest.observations)
    of_other_moments = {o.id for o in evidence.signs} - {o.id for o in told.signs}
    asked = {o.id for o in latest.observations} | of_other_moments | set(skipped)
    outlook = look_ahead(latest.network, likelihoods, asked, case_open=_case_is_open(latest), now=believed)
    return Record(
        machine_id=machine.id,
        title=machine.title,
        layout=machine.layout,
        invented=machine.invented,
        complaint=complaint,
        made_at=datetime.now(UTC).isoformat(timespec="seconds"),
        version=__version__,
        evidence=replace(evidence, readings=readings),
        answered=tuple(Answered(o.id, net.signs[o.id].says, net.signs[o.id].mode, o.present) for o in evidence.signs),
        beliefs=tuple(beliefs),
        none_of_these=none,
        next_check=outlook.check,
        change_of_mind=outlook.changes,
        plan=tuple(plan(latest.network, beliefs, latest.observations, likelihoods)),
        clash=tuple(clashes(latest.network, latest.observations)),
        heard=tuple(heard),
        notes=(*(one.says for one in odd), *pass_notes(machine, heard, of_pass), *_notes(machine, heard, knowledge)),
    )


def _case_is_open(latest: Round) -> bool:
    """Whether something was answered that can only be seen with the case open."""
    return any(latest.network.signs[o.id].opens_case for o in latest.since if o.present is not None)


def hear_all(
    machine: Machine | None,
    recordings: Sequence[Path],
    tone_hz: float | None = None,
    progress: Progress | None = None,
    *,
    accept_truncated: bool = False,
    made_with: MeasuredWith | None = None,
    passes: list[PassHeard] | None = None,
) -> list[Heard]:
    """Measure recordings, channel by channel, and set their lines against a machine's rates.

    Arguments:
        machine: None to measure only.
        recordings: files.
        tone_hz: the frequency on the test tape; None for what the register says of the tape, else the usual one that is
            nearest.
        progress: is told how much is done, 0 to 1.
        accept_truncated: take what is there of a recording that is cut short.
        made_with: the test tape, whose pass is counted once for each recording, and the sound card's clock.
        passes: is given each test sequence that was found, with all that it says.
    """
    given = made_with or MeasuredWith()
    tone_hz = _tone_of(given, tone_hz)
    found = []
    for number, path in enumerate(recordings):
        share = None if progress is None else _part_of(progress, number, len(recordings))
        measured = measure_recording(
            path, tone_hz, share, accept_truncated, given.clock_error_ppm, given.clock_doubt_ppm
        )
        tape = count_pass(given, Path(path))
        heard = [_heard(machine, str(path), i, one, measured.notes, tape) for i, one in enumerate(measured.channels, 1)]
        heard = with_together(heard, measured, tape)
        one_pass = one_pass_in(path, heard, accept_truncated=accept_truncated)
        if one_pass is None:
            heard = with_other_speed(heard, path, accept_truncated=accept_truncated)
        elif passes is not None:
            passes.append(one_pass)
        found += with_pass(heard, one_pass, machine, tape)
    return found


def _tone_of(given: MeasuredWith, tone_hz: float | None) -> float | None:
    """Give the tone to look for: as told, as the register says; the two must not contradict each other."""
    known = given.tape.tone_hz if given.tape is not None else None
    if given.tape is not None and None not in (known, tone_hz) and known != tone_hz:
        found = f'is {tone_hz:g} Hz, and "{given.tape.name}" is registered with {known:g} Hz.'
        raise InputAtFaultError(Problem("--tone", found, "Leave --tone out, or put the register right."))
    return known if tone_hz is None else tone_hz


def _part_of(progress: Progress, number: int, total: int) -> Progress:
    return lambda share: progress((number + share) / total)


def _heard(
    machine: Machine | None,
    file: str,
    number: int,
    channel: ChannelReadings,
    notes: tuple[str, ...],
    tape: KnownTape | None = None,
) -> Heard:
    readings = {name: getattr(channel, name) for name in SHOWN}
    if tape is not None:
        readings = through_tape(readings, channel.lines, tape)
        notes = (*notes, tape.says())
    speed = readings["speed_error_pct"].value
    as_read = channel.weighted_rms_pct  # the tape's part is in it as it is in the lines
    items = [] if machine is None else budget(machine, channel.lines, speed, weighted_rms_pct=as_read)
    spectrum = channel.spectrum
    return Heard(
        file=file,
        channel=number,
        tone=plain(channel.tone),
        readings=readings,
        lines=channel.lines,
        budget=tuple(items),
        unexplained_pct=None if machine is None or not channel.tone.found else unexplained_pct(items),
        trace=channel.trace,
        spectrum_hz=() if spectrum is None else tuple(float(f) for f in spectrum.frequency_hz),
        spectrum_pct=() if spectrum is None else tuple(float(p) for p in spectrum.peak_pct),
        notes=(*notes, *channel.notes),
        verdicts=verdicts(machine, readings),
        also=over_the_side(channel, tape),
        test_tape="" if tape is None else tape.name,
        events=() if channel.trace is None else find_events(channel.trace, channel.lines),
        in_angle=_in_angle(machine, channel, items, speed),
        in_no_line=beside_lines(items),
    )


def _in_angle(
    machine: Machine | None, channel: ChannelReadings, items: Sequence[BudgetItem], speed: float | None
) -> OrderPicture | None:
    """Look at the speed over the turns of the part that has most to show."""
    trace = channel.trace
    if machine is None or trace is None:
        return None
    chosen = turning_part(machine, channel.lines, items, len(trace.values) / trace.rate_hz, speed)
    if chosen is None:
        return None
    part, turns_per_s, slowing_per_s = chosen
    tape_m_per_s = machine.tape.speed_m_per_s * (1.0 + (speed or 0.0) / 100.0)
    return order_picture(trace, turns_per_s, slowing_per_s, part, tape_m_per_s=tape_m_per_s)


def _best_readings(heard: Sequence[Heard]) -> dict[str, Reading]:
    """Take the readings of the channel whose tone stands clearest; those that could not be taken are left out."""
    with_tone = [one for one in heard if one.tone.get("found")]
    if not with_tone:
        return {}
    best = max(with_tone, key=lambda one: float(str(one.tone.get("snr_db") or 0.0)))
    return {name: best.readings[name] for name in READINGS if best.readings[name].value is not None}


def _with_reasons(latest: Round, beliefs: Sequence[Belief]) -> list[Belief]:
    explained = []
    for i, belief in enumerate(beliefs):
        if i < EXPLAINED and belief.explains_complaint > 0.01:
            about = (latest.network, belief.part, belief.kind, latest.observations)
            belief = replace(belief, reasons=reasons(*about), chains=chains(*about))
        explained.append(belief)
    return explained


def _notes(machine: Machine, heard: Sequence[Heard], knowledge: Knowledge | None) -> tuple[str, ...]:
    notes = ["Base rates, minutes, prices and how well people notice are trade judgement, not counted figures."]
    if knowledge is not None:
        notes = ["Minutes and prices are trade judgement, not counted figures.", learnt_note(machine, knowledge)]
    if machine.invented:
        notes.append("This machine is invented; nobody built it.")
    if not any(r.diameter for r in machine.rotors.values()):
        notes.append(
            "No size of this machine is described; usual ranges stand in, and rates and sizes are as doubtful."
        )
    if heard:
        notes.append("The table of the flutter weighting is known from memory and its published shape only.")
    return tuple(notes)


def learnt_note(machine: Machine, knowledge: Knowledge) -> str:
    """Say that learnt rates are in use, and what they rest on."""
    own = sum(job.layout == machine.layout for job in knowledge.jobs)
    counted = len(knowledge.jobs)
    older = f" and {len(knowledge.tallies)} older counts" if knowledge.tallies else ""
    return (
        f"Learnt rates are in use: base rates and how well people notice are the catalogue's judgement, moved by "
        f"{counted} closed job{'s' * (counted != 1)} of this shop ({own} of this layout){older}."
    )


def findings_json(record: Record) -> dict[str, object]:
    """Give what `diagnose` prints: beliefs, next check, plan, clash."""
    return {
        "machine": record.machine_id,
        "beliefs": plain(record.beliefs),
        "none_of_these": record.none_of_these,
        "next_check": plain(record.next_check),
        "change_of_mind": plain(record.change_of_mind),
        "plan": plain(record.plan),
        "clash": plain(record.clash),
        "notes": plain(record.notes),
    }


def channel_json(heard: Heard, *, with_budget: bool) -> dict[str, object]:
    """Give one channel of what `measure` prints."""
    shown: dict[str, object] = {"tone": plain(heard.tone)}
    shown |= {name: plain(reading) for name, reading in heard.readings.items()}
    shown |= {"limits": plain(heard.verdicts), "test_tape": heard.test_tape or None}
    shown["lines"] = plain(heard.lines)
    shown["events"] = plain(heard.events)
    if with_budget:
        shown |= {"budget": plain(heard.budget), "unexplained_pct": heard.unexplained_pct}
        shown |= {"in_no_line": heard.in_no_line, "in_angle": plain(heard.in_angle)}
    return shown | dict(heard.also) | {"notes": list(heard.notes)}


def examination_json(record: Record) -> dict[str, object]:
    """Give what `examine` prints: the findings, and the recordings as `measure` gives them."""
    files: dict[str, list[Heard]] = {}
    for one in record.heard:
        files.setdefault(one.file, []).append(one)
    recordings = [
        {
            "file": file,
            "channels": [channel_json(one, with_budget=True) for one in channels],
            "one_pass": next((listed_json(one.one_pass) for one in channels if one.one_pass is not None), None),
        }
        for file, channels in files.items()
    ]
    readings: Mapping[str, Reading] = record.evidence.readings
    return findings_json(record) | {
        "complaint": record.complaint,
        "readings": plain(readings),
        "recordings": recordings,
    }
