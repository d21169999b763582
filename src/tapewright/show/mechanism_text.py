"""What was heard of a mechanism, for a terminal: what turned and when, what squealed or knocked, what is open."""

from tapewright.machine.parts import PLAYING, SPOKEN_MODES, Machine, ended_by_switches
from tapewright.show.columns import bullets, heading, paragraph, table
from tapewright.show.said import name_of, percent, with_doubt
from tapewright.words.mechanism_heard import EvidenceHeard, MechanismHeard, Squeal, StretchHeard
from tapewright.words.reading import Reading

UNNAMED = "something steady"


def mechanism_text(heard: MechanismHeard, machine: Machine | None, told: EvidenceHeard | None) -> str:
    """Say everything that one recording of a mechanism tells.

    Arguments:
        heard: what was heard.
        machine: whose mechanism it is; None where nobody said.
        told: what it means for that machine.
    """
    pieces = [heading(f"Heard in {heard.duration_s:.1f} s")]
    if heard.stretches:
        rows = [_stretch(heard, one, machine) for one in heard.stretches]
        pieces.append(
            table(("what turned", "mode", "from s", "to s", "turns a second", "wavers", "sure"), rows, (2, 3))
        )
    else:
        pieces.append(paragraph("No motor is heard."))
    events = [*_events(heard)]
    if events:
        pieces += ["", bullets(events)]
    if heard.not_heard:
        pieces += ["", heading("Expected and not heard"), bullets(_missing(heard, machine))]
    if told is not None and told.reasons:
        whys = list(dict.fromkeys(why for _, why in told.reasons))
        pieces += ["", heading("What it means for this machine"), bullets(whys)]
    open_things = [*(one.says for one in heard.disturbances), *heard.cannot_say]
    if open_things:
        pieces += ["", heading("What this recording cannot say"), bullets(list(dict.fromkeys(open_things)))]
    return "\n".join(pieces)


def _stretch(heard: MechanismHeard, one: StretchHeard, machine: Machine | None) -> tuple[str, ...]:
    entered = [mark.at_s for mark in heard.marks if mark.mode == one.mode and mark.at_s < one.end_s]
    when = _when(heard, one.mode, min(entered, key=lambda at_s: abs(at_s - one.start_s), default=one.start_s))
    called = name_of(machine, one.name) if one.name else UNNAMED
    return (
        called, when, f"{one.start_s:.1f}", f"{one.end_s:.1f}", _said(one.rate_hz, ""),
        _said(one.unsteady_pct, "%"), percent(one.sure),
    )  # fmt: skip


def _said(reading: Reading, unit: str) -> str:
    return "-" if reading.value is None else with_doubt(reading.value, reading.doubt, unit).strip()


def _events(heard: MechanismHeard) -> list[str]:
    said = [_squeal(one) for one in heard.squeals]
    said += [
        f"Ticking {one.rate_hz.value or 0.0:.2f} times a second from {one.start_s:.1f} s to {one.end_s:.1f} s, "
        f"{one.strength_db:.1f} dB above what lies between."
        for one in heard.knocks
    ]
    said += [
        f"Noise that swells {one.rate_hz.value or 0.0:.2f} times a second from {one.start_s:.1f} to {one.end_s:.1f} s."
        for one in heard.rubbings
    ]
    if heard.clicks:
        said.append("Clicks at " + ", ".join(f"{click.at_s:.2f}" for click in heard.clicks[:30]) + " s.")
    return said


def _squeal(one: Squeal) -> str:
    back = one.modulation_hz
    again = "" if back.value is None else f", coming back {back.value:.2f} times a second"
    return (
        f"A {one.kind} near {one.frequency_hz.value or 0.0:.0f} Hz from {one.start_s:.1f} s to {one.end_s:.1f} s, "
        f"{one.prominence_db:.0f} dB above its neighbours{again}, {percent(one.sure)} sure."
    )


def _missing(heard: MechanismHeard, machine: Machine | None) -> list[str]:
    lifting = frozenset() if machine is None else ended_by_switches(machine)
    return [
        f"{name_of(machine, one.name)} {_when(heard, one.mode, one.start_s)}, {one.start_s:.1f} to {one.end_s:.1f} s. "
        f"Had it been as loud as what was heard: {percent(one.sure)} that it would have been heard."
        for one in heard.not_heard
        # After a wind the head base is down already: what lowers it has nothing to do.
        if not (one.name in lifting and one.mode == "stop" and _before(heard, one.start_s) not in PLAYING)
    ]


def _before(heard: MechanismHeard, at_s: float) -> str:
    """Give the mode before the one that was entered at a moment."""
    earlier = [mark.mode for mark in heard.marks if mark.at_s < at_s - 0.01]
    return earlier[-1] if earlier else ""


def _when(heard: MechanismHeard, mode: str, at_s: float) -> str:
    if mode == "stop" and _before(heard, at_s) not in PLAYING:
        return "on stop"
    return SPOKEN_MODES.get(mode, mode)
