"""The tape on both packs of a filmed cassette and in a loop between them, moment by moment; nothing of it is lost."""

from typing import Final

import numpy as np

from tapewright.machine.formulas import pack_radius
from tapewright.machine.parts import Machine, TapeFormat
from tapewright.machine.run_down import reel_inertia, stopping_torque
from tapewright.simulate.film_drive import BRINGS_UP_S, RATE_HZ, STARTS_S, STOPS_S, Drive
from tapewright.simulate.pack import Samples

LETS_GO_S: Final = 0.1
"""From the stop key until the drive has let go and the brakes are on; from memory."""


class TapeOnReels:
    """The tape on both packs and between them, step by step: the slow and obvious way, since nothing may be lost."""

    def __init__(self, tape: TapeFormat, side_m: float, wound_m: float) -> None:
        self.tape, self.side_m = tape, side_m
        self.takeup, self.supply, self.loop, self.fed = [wound_m], [side_m - wound_m], [0.0], [0.0]

    def run(self, drive: Drive, count: int, forward: bool, at_capstan: bool, kept: tuple[bool, bool]) -> Samples:
        """Go on for `count` steps; give the rate the taking reel should move tape at, m/s, shape (count,).

        `kept` says whether it ran before them, and whether it runs on after them.
        """
        if len(self.takeup) == 1:
            count -= 1  # the first moment is the beginning itself
        times_s = np.arange(max(count, 0)) / RATE_HZ
        starts = BRINGS_UP_S if at_capstan else 0.1
        up = np.ones(len(times_s)) if kept[0] else np.clip((times_s - starts) / STARTS_S[drive.how], 0.0, 1.0)
        ends = min(drive.stops_s, float("inf") if kept[1] else max(count, 0) / RATE_HZ - STOPS_S[drive.how])
        envelope = up * np.clip(1.0 - (times_s - ends) / STOPS_S[drive.how], 0.0, 1.0)
        wanted = np.zeros(len(times_s))
        if drive.how == "stand":
            for store in (self.takeup, self.supply, self.loop):
                store.extend([store[-1]] * len(times_s))
            self.fed.extend([0.0] * len(times_s))
            return wanted
        takes, gives = (self.takeup, self.supply) if forward else (self.supply, self.takeup)
        for place, share in enumerate(envelope):
            if drive.how == "capstan":
                wanted[place] = self._fed(drive, place, share, takes, gives)
            else:
                wanted[place] = self._pulled(drive, place, share, takes, gives)
            self.fed[-1] *= 1.0 if forward else -1.0
        return wanted

    def run_down(self, machine: Machine, mode: str, most: int) -> int:
        """Let both reels of a wind come to a stand, each by what holds it and its inertia; give how many steps it took.

        Taut tape lets no reel take more than the other gives: then both slow down as one. A reel that gives on while
        the other stands throws a loop.
        """
        at = machine.modes.get(mode)
        if at is None or not at.takes_up or not at.gives or at.at_capstan or len(self.takeup) < 3:
            return 0
        takes, gives = (self.takeup, self.supply) if at.takes_up == machine.modes["play"].takes_up else (
            self.supply, self.takeup
        )  # fmt: skip
        speed = [(takes[-1] - takes[-2]) * RATE_HZ, (gives[-2] - gives[-1]) * RATE_HZ]
        holds = [stopping_torque(machine, mode, reel) for reel in (at.takes_up, at.gives)]
        way = 1.0 if takes is self.takeup else -1.0
        for number in range(most):
            if max(speed) <= 0.0:
                return number
            if number >= LETS_GO_S * RATE_HZ:
                radii = [float(pack_radius(self.tape.hub_radius_m, one[-1], self.tape.thickness_m))
                         for one in (takes, gives)]  # fmt: skip
                heavy = [
                    reel_inertia(machine, reel, radius) / radius**2
                    for reel, radius in zip((at.takes_up, at.gives), radii, strict=True)
                ]
                speed = _slowed_down(speed, heavy, [m / r for m, r in zip(holds, radii, strict=True)], self.loop[-1])
            taken, given = speed[0] / RATE_HZ, min(speed[1] / RATE_HZ, gives[-1])
            takes.append(takes[-1] + taken)
            gives.append(gives[-1] - given)
            self.loop.append(max(self.loop[-1] + given - taken, 0.0))
            self.fed.append(way * given * RATE_HZ)
        return most

    def _fed(self, drive: Drive, place: int, share: float, takes: list[float], gives: list[float]) -> float:
        feed = drive.feeds_m_per_s[min(place, len(drive.feeds_m_per_s) - 1)] * share
        brought = min(float(feed) / RATE_HZ, gives[-1])
        limit = float(drive.limit[min(place, len(drive.limit) - 1)] * feed) / RATE_HZ
        taken = min(brought + self.loop[-1], limit)
        takes.append(takes[-1] + taken)
        gives.append(gives[-1] - brought)
        self.loop.append(self.loop[-1] + brought - taken)
        self.fed.append(brought * RATE_HZ)
        return brought * RATE_HZ

    def _pulled(self, drive: Drive, place: int, share: float, takes: list[float], gives: list[float]) -> float:
        radius = float(pack_radius(self.tape.hub_radius_m, takes[-1], self.tape.thickness_m))
        right = 2 * np.pi * radius * float(np.interp(radius, drive.radii_m, drive.turns_per_s)) * share
        taken = right * float(drive.limit[min(place, len(drive.limit) - 1)]) / RATE_HZ
        slack = min(taken, self.loop[-1])
        pulled = min(taken - slack, gives[-1])
        takes.append(takes[-1] + slack + pulled)
        gives.append(gives[-1] - pulled)
        self.loop.append(self.loop[-1] - slack)
        self.fed.append(pulled * RATE_HZ)
        return right if pulled + slack > 0.0 else 0.0


def _slowed_down(speed: list[float], heavy: list[float], pulls: list[float], loop_m: float) -> list[float]:
    """Give both packs' speeds one step on: of what takes and what gives, metres a second; masses and forces at them."""
    free = [max(0.0, v - f / m / RATE_HZ) for v, m, f in zip(speed, heavy, pulls, strict=True)]
    if free[0] <= free[1] or loop_m > 0.0:
        return free
    moves = sum(v * m for v, m in zip(speed, heavy, strict=True)) - sum(pulls) / RATE_HZ
    return [max(0.0, moves / sum(heavy))] * 2


__all__ = ["LETS_GO_S", "TapeOnReels"]
