"""What a film of a cassette's two hubs told: where they are, how they turn, what the tape does."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from tapewright.words.reading import Reading

HubName = Literal["left", "right"]
ReelEventKind = Literal["hesitates", "slips", "stands", "starts", "stops", "lags"]


@dataclass(frozen=True, slots=True)
class HubSeen:
    """One hub in the picture, found or pointed at.

    Arguments:
        name: "left" or "right" as the film shows it.
        centre_x, centre_y: of the hub, pixels of the film as it is watched (rotation tag heeded), from its top left.
        radius_px: half of the longer diameter of what turns.
        symmetry: how many times it looks the same in one turn: 6 for six teeth, 1 for a single mark.
        sure: 0 to 1: that this is something that turns about that centre.
        stretch: what makes the ellipse a circle: the two numbers e, g of the matrix ((1 + e, g), (g, 1 - e)) that takes
            a point of the circle into the picture; (0, 0) where the camera looks straight on.
    """

    name: HubName
    centre_x: float
    centre_y: float
    radius_px: float
    symmetry: int
    sure: float
    stretch: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True, slots=True)
class ReelRate:
    """How fast one hub turns over time.

    Arguments:
        name: of the hub.
        times_s: middles of the stretches, seconds from the first frame.
        rates_hz: turns per second; positive is anticlockwise as the film shows it.
        doubt_hz: half-widths of the 95 % intervals, given that the alias is the right one.
    """

    name: HubName
    times_s: tuple[float, ...]
    rates_hz: tuple[float, ...]
    doubt_hz: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class ReelEvent:
    """Something that one reel does and should not, or that begins or ends.

    Arguments:
        kind: "hesitates" (both reels fall short together), "slips" (one falls short, the other goes on), "stands",
            "starts", "stops", "lags" (it winds less than the other gives: a loop grows).
        name: of the hub.
        start_s, end_s: from when to when; equal for what takes no time.
        share: of the rate that was missing, 0 to 1; of the tape given that was not wound, for "lags".
        sure: 0 to 1.
    """

    kind: ReelEventKind
    name: HubName
    start_s: float
    end_s: float
    share: float
    sure: float


@dataclass(frozen=True, slots=True)
class ReelsSeen:
    """All that a film of the two hubs told.

    Arguments:
        duration_s: from the first frame to the last.
        frame_rate_hz: mean, by the frames' own times.
        hubs: found or pointed at, from left to right.
        rates: one for each hub.
        mean_rate_hz: by hub; mean over the time it turned, signed as the rates.
        tape_speed_m_per_s: from both rates and the size of a full cassette.
        pack_radius_m: by hub, half way through the stretch in which both turned.
        tape_thickness_m: from how the rates change.
        position: share of the tape that is on the reel that takes up, 0 to 1, half way through.
        wind_time_s: from end to end, where a wind was filmed from its start to its stop.
        events: in the order of their beginnings.
        aliasing: what several teeth that look alike leave open, and how it was resolved, sentences.
        cannot_say: what this film cannot tell, sentences.
        stopped_s: when a key stopped the mode, where the film goes on; None where it does not, or nobody said.
        stands_after_s: by hub; from the key that stopped the mode to its standing, where the film goes on so long.
    """

    duration_s: float
    frame_rate_hz: float
    hubs: tuple[HubSeen, ...]
    rates: tuple[ReelRate, ...]
    mean_rate_hz: Mapping[str, Reading]
    tape_speed_m_per_s: Reading
    pack_radius_m: Mapping[str, Reading]
    tape_thickness_m: Reading
    position: Reading
    wind_time_s: Reading
    events: tuple[ReelEvent, ...]
    aliasing: tuple[str, ...]
    cannot_say: tuple[str, ...]
    stopped_s: float | None = None
    stands_after_s: Mapping[str, Reading] = field(default_factory=dict)

    @property
    def runs_until_s(self) -> float:
        """Give until when the mode runs, as far as keys go: to the key that stops it, or to the film's end."""
        return self.duration_s if self.stopped_s is None else min(self.stopped_s, self.duration_s)


__all__ = ["HubName", "HubSeen", "ReelEvent", "ReelEventKind", "ReelRate", "ReelsSeen"]
