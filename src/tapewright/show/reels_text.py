"""What a film of the hubs told, as text."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from tapewright.show.columns import bullets, heading, paragraph
from tapewright.show.said import percent
from tapewright.words.mechanism_heard import EvidenceHeard
from tapewright.words.reading import Reading
from tapewright.words.reels_seen import ReelEvent, ReelsSeen

DOES: Final = {
    "hesitates": "hesitates with the other", "slips": "falls short alone", "stands": "stands",
    "starts": "starts", "stops": "stops", "lags": "winds less than is given",
}  # fmt: skip

BOTH: Final = {"hesitates": "hesitate together", "starts": "start", "stops": "stop"}
TOGETHER: Final = tuple(BOTH)
"""What both hubs do at once is said once."""
NEAR_S: Final = 0.2
"""Starts and stops of both hubs so near each other are one; own choice."""


def reels_text(seen: ReelsSeen, heard: EvidenceHeard | None = None) -> str:
    """Say what a film of the hubs told.

    Arguments:
        seen: what the film told.
        heard: what that says of the machine; None without one.
    """
    length = f"{seen.duration_s:.1f} s of film, {seen.frame_rate_hz:.2f} frames a second by their own times."
    rates = [f"The {hub.name} hub at {hub.centre_x:.0f},{hub.centre_y:.0f}, radius {hub.radius_px:.0f} pixels: "
             f"{_turning(seen.mean_rate_hz[hub.name])}" for hub in seen.hubs]  # fmt: skip
    parts = [heading("Reels"), paragraph(length), bullets(rates)]
    parts += [heading("Tape"), bullets(_tape(seen))]
    happened = events_say(seen.events)
    parts += [heading("What happened"), bullets(happened) if happened else "Both turn evenly from end to end."]
    if heard is not None:
        parts += [
            heading("What that says of the machine"),
            bullets(list(dict.fromkeys(says for _, says in heard.reasons)) or ["Nothing."]),
        ]
    parts += [heading("What like teeth leave open"), bullets(seen.aliasing)]
    parts += [heading("What this film cannot say"), bullets(seen.cannot_say)]
    return "\n".join(parts)


def events_say(events: Sequence[ReelEvent]) -> list[str]:
    """Give what happened, one sentence for each moment: what both hubs do at once, and a loop with the slip it is of.

    >>> one = ReelEvent("slips", "right", 2.0, 3.0, 0.5, 0.9)
    >>> loop = ReelEvent("lags", "right", 2.0, 3.1, 0.4, 0.95)
    >>> events_say([one, loop])
    ['From 2.0 s to 3.1 s the right hub falls short alone, by 50 %, and tape is left between the hubs; sure to 95 %.']
    """
    said, done = [], set()
    for at, event in enumerate(events):
        if at in done:
            continue
        same = [
            (number, other)
            for number, other in enumerate(events)
            if number > at and number not in done and _one_moment(event, other)
        ]
        done |= {number for number, _ in same}
        together = [event, *(other for _, other in same)]
        whole = replace(
            event,
            start_s=min(one.start_s for one in together), end_s=max(one.end_s for one in together),
            share=max(one.share for one in together), sure=max(one.sure for one in together),
        )  # fmt: skip
        both = len({one.name for one in together}) > 1
        loop = {one.kind for one in together} >= {"slips", "lags"}
        said.append(event_says(replace(whole, kind="slips") if loop else whole, both=both, loop=loop))
    return said


def _one_moment(one: ReelEvent, other: ReelEvent) -> bool:
    """Say whether two events are one moment: a slip with its loop, or what both hubs do at once."""
    near = one.start_s < other.end_s + NEAR_S and other.start_s < one.end_s + NEAR_S
    slip = one.name == other.name and {one.kind, other.kind} == {"slips", "lags"}
    return near and (slip or (one.name != other.name and one.kind == other.kind and one.kind in TOGETHER))


def event_says(event: ReelEvent, *, both: bool = False, loop: bool = False) -> str:
    """Give one event as a sentence.

    >>> event_says(ReelEvent("slips", "left", 2.0, 2.5, 0.3, 0.95))
    'From 2.0 s to 2.5 s the left hub falls short alone, by 30 %; sure to 95 %.'
    """
    when = f"At {event.start_s:.1f} s"
    if event.end_s > event.start_s:
        when = f"From {event.start_s:.1f} s to {event.end_s:.1f} s"
    much = f", by {100.0 * event.share:.0f} %" if event.kind in ("hesitates", "slips", "lags") else ""
    left = ", and tape is left between the hubs" if loop else ""
    what = f"both hubs {BOTH[event.kind]}" if both else f"the {event.name} hub {DOES[event.kind]}"
    return f"{when} {what}{much}{left}; sure to {percent(event.sure)}."


def _turning(reading: Reading) -> str:
    if reading.value is None:
        return reading.why_not or ""
    if not reading.value:
        return "stands."
    way = "anticlockwise" if reading.value > 0.0 else "clockwise"
    return f"{abs(reading.value):.4f} ± {reading.doubt or 0.0:.4f} turns a second, {way}."


def _tape(seen: ReelsSeen) -> list[str]:
    rows = [
        ("Speed", seen.tape_speed_m_per_s, 100.0, "cm/s", 2),
        *((f"Pack on the {name} hub", one, 1e3, "mm radius", 1) for name, one in seen.pack_radius_m.items()),
        ("Thickness", seen.tape_thickness_m, 1e6, "µm", 1),
        ("Wound onto the hub that takes up", seen.position, 100.0, "%", 0),
        ("Wind from end to end", seen.wind_time_s, 1.0, "s", 0),
    ]
    said: list[str] = []
    for what, reading, factor, unit, digits in rows:
        if reading.value is None:
            said.append(f"{what}: none. {reading.why_not}")
        else:
            value, doubt = factor * reading.value, factor * (reading.doubt or 0.0)
            said.append(f"{what}: {value:.{digits}f} ± {doubt:.{digits}f} {unit}.")
    return said


__all__ = ["event_says", "events_say", "reels_text"]
