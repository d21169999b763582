"""Take-up over the pack against what the capstan feeds: tension, the loop (spill), over-drive, the capstan's pull."""

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from tapewright.machine.asked import hold_back, tape_tension
from tapewright.machine.doubt import Columns
from tapewright.machine.figure import Figure, figure
from tapewright.machine.force_sizes import force_table
from tapewright.machine.formulas import half_side_radius, loop_growth, loop_torque, reel_turns, tension
from tapewright.machine.parts import Machine
from tapewright.machine.reel_drive import (
    ReelDrive,
    nip_force,
    reel_drive,
    reel_losses,
    torque_at_reel,
)

Where = Literal["start", "middle", "end"]
WHERE: Final[tuple[Where, ...]] = ("start", "middle", "end")


@dataclass(frozen=True, slots=True)
class Place:
    """Take-up at one place of a side.

    Arguments:
        where: "start" at an empty take-up hub, "middle" at equal packs, "end" at a full take-up pack.
        radius_m: of the take-up pack, metres.
        turns_per_s: of the take-up reel, as the tape turns it.
        torque: what the drive brings to the reel table, N·m.
        tension: what that is in the tape at this radius, N: torque over radius.
        spare: torque left over hub, reel and guides, N·m; below nothing the tape is not taken up.
        hold: the pull limit of the nip over this tension; below 1 the reel drags tape past the capstan. None where no
            roller presses.
        hold_back: tension the supply reel holds against, N, at the radius its pack has here.
    """

    where: Where
    radius_m: float
    turns_per_s: float
    torque: Figure
    tension: Figure
    spare: Figure
    hold: Figure | None
    hold_back: Figure


TakeUpVerdict = Literal["takes up", "may spill", "spills", "may drag the tape", "drags the tape"]


@dataclass(frozen=True, slots=True)
class TakeUp:
    """Take-up along a side.

    Arguments:
        mode: the mode, at the capstan.
        speed_m_per_s: at which the capstan feeds.
        driven_by: the motor at the beginning of the way; empty where no motor drives the reel.
        limited_by: the coupling that limits the torque by slipping (a clutch); empty where the motor itself does.
        places: start, middle and end.
        input_turns_per_s: turns the drive would give the reel if nothing held it; None without a drive.
        needed_turns_per_s: turns an empty hub needs at this speed: v / (2 pi r0).
        loop: how fast a loop grows at the start because the drive turns too slowly, m/s; below nothing none does.
        pull_limit: tension the nip can hold, N; None where no roller presses.
        verdict: what follows, over the doubts.
        weakest: the place of the smallest spare, relative to the torque.
        says: why, a sentence each.
    """

    mode: str
    speed_m_per_s: float
    driven_by: str
    limited_by: str
    places: tuple[Place, ...]
    input_turns_per_s: Figure | None
    needed_turns_per_s: float
    loop: Figure | None
    pull_limit: Figure | None
    verdict: TakeUpVerdict
    weakest: Where
    says: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Pull:
    """The capstan's pull on the tape.

    Arguments:
        mode: a mode at the capstan.
        pinch: force of the roller, N.
        limit: tension the capstan can hold by friction, N.
        asked: tension the tape asks for: an empty supply hub, a poor shell, head wrap and pressure pad, N.
        margin: limit over asked, a ratio.
    """

    mode: str
    pinch: Figure
    limit: Figure
    asked: Figure
    margin: Figure


def take_up(machine: Machine, mode: str = "play", speed_m_per_s: float | None = None) -> TakeUp:
    """Give the take-up along a side of tape, and whether tape spills or is dragged.

    Spill needs either: a drive that turns an empty hub too slowly for the tape that comes, or too little torque for
    hub, reel and guides, which shows at the end of a side first. Over-drive, more pull on the tape than the nip holds,
    shows at the start. Closed forms of our own.

    Arguments:
        machine: as described, or with imperfections.
        mode: a mode at the capstan.
        speed_m_per_s: at which the capstan feeds; the machine's own where nothing is said. The reel's drive stays
            geared as it is: ask this to see what a clutch geared for one speed does at another.

    Raises:
        KeyError: when there is no such mode, or it does not take tape up at the capstan.

    >>> from tapewright.machine.library import shipped
    >>> take_up(shipped("four_track")).verdict
    'takes up'
    """
    at = machine.modes[mode]
    if not (at.at_capstan and at.takes_up):
        raise KeyError(mode)
    table = force_table(machine)
    speed = machine.tape.speed_m_per_s if speed_m_per_s is None else speed_m_per_s
    drive = reel_drive(machine, mode, at.takes_up, table)
    places = tuple(_place(machine, mode, where, speed, drive, table) for where in WHERE)
    needed = float(reel_turns(speed, machine.tape.hub_radius_m))
    limit = nip_force(machine, at, table)
    input_turns, loop = None, None
    if drive is not None:
        input_turns = figure(machine, drive.free_turns_per_s, table, "1/s")
        grows = np.asarray(loop_growth(drive.free_turns_per_s, machine.tape.hub_radius_m, speed))
        loop = figure(machine, grows, table, "m/s", signed=True)
    pull_limit = None if limit is None else figure(machine, limit, table, "N")
    verdict, says = _verdict(places, loop)
    weakest = min(places, key=lambda one: one.spare.value / max(one.torque.value, 1e-12)).where
    return TakeUp(
        mode, speed, drive.motor if drive else "", _limit_of(machine, drive), places, input_turns, needed, loop,
        pull_limit, verdict, weakest, says,
    )  # fmt: skip


def capstan_pull(machine: Machine, mode: str = "play") -> Pull | None:
    """Give the pull the capstan has on the tape and what the tape asks; None where no roller presses.

    Raises:
        KeyError: when there is no such mode.

    >>> from tapewright.machine.library import shipped
    >>> found = capstan_pull(shipped("four_track"))
    >>> found is not None and found.margin.value > 2
    True
    """
    at, table = machine.modes[mode], force_table(machine)
    limit = nip_force(machine, at, table)
    if limit is None:
        return None
    nip = next(one for one in machine.couplings.values() if one.kind == "nip" and one.name in at.engaged)
    asked = tape_tension(machine, at, table)
    return Pull(
        mode,
        figure(machine, table[f"{nip.name}.force"], table, "N"),
        figure(machine, limit, table, "N"),
        figure(machine, asked, table, "N"),
        figure(machine, limit / asked, table, "1"),
    )


def _place(
    machine: Machine, mode: str, where: Where, speed_m_per_s: float, drive: ReelDrive | None, table: Columns
) -> Place:
    tape, at = machine.tape, machine.modes[mode]
    middle = float(half_side_radius(tape.hub_radius_m, tape.full_radius_m))
    radius = {"start": tape.hub_radius_m, "middle": middle, "end": tape.full_radius_m}[where]
    supply = {"start": tape.full_radius_m, "middle": middle, "end": tape.hub_radius_m}[where]
    turns = float(reel_turns(speed_m_per_s, radius))
    torque = table.constant(0.0)
    if drive is not None:
        torque = torque_at_reel(machine, mode, drive, table.constant(turns), table)
    losses = reel_losses(machine, mode, at.takes_up, table)
    spare = np.asarray(loop_torque(torque, losses, radius, table["guide_tension"]))
    pulls = np.asarray(tension(torque, radius))
    limit = nip_force(machine, at, table)
    held = None if limit is None else limit / np.maximum(pulls, 1e-9)
    holding = np.asarray(tension(hold_back(machine, at, table), supply))
    return Place(
        where, radius, turns,
        figure(machine, torque, table, "N·m"),
        figure(machine, pulls, table, "N"),
        figure(machine, spare, table, "N·m", signed=True),
        None if held is None else figure(machine, held, table, "1"),
        figure(machine, holding, table, "N"),
    )  # fmt: skip


def _limit_of(machine: Machine, drive: ReelDrive | None) -> str:
    slipping = [step.coupling for step in drive.chain if step.slips] if drive else []
    return slipping[-1] if slipping else ""


def _verdict(places: tuple[Place, ...], loop: Figure | None) -> tuple[TakeUpVerdict, tuple[str, ...]]:
    if loop is None:
        return "spills", ("No motor drives the take-up reel in this mode.",)
    sure: list[str] = []
    maybe: list[str] = []
    if loop.value > 0:
        said = "The drive turns an empty hub slower than the tape comes: a loop forms at the start of a side."
        (sure if loop.low > 0 else maybe).append(said)
    weak = [one for one in places if one.spare.value < 0]
    if weak:
        certain = [one for one in weak if one.spare.high < 0]
        named = " and ".join(f"the {one.where}" for one in weak)
        said = f"Too little torque for hub, reel and guides at {named} of a side."
        (sure if certain else maybe).append(said)
    if sure or maybe:
        return ("spills" if sure else "may spill"), (*sure, *maybe)
    dragged = [one for one in places if one.hold is not None and one.hold.value < 1]
    if dragged:
        named = " and ".join(f"the {one.where}" for one in dragged)
        said = f"The reel pulls harder than capstan and roller hold at {named} of a side: fast and uneven there."
        certain = [one for one in dragged if one.hold is not None and one.hold.high < 1]
        return ("drags the tape" if certain else "may drag the tape"), (said,)
    return "takes up", _close_calls(places)


def _close_calls(places: tuple[Place, ...]) -> tuple[str, ...]:
    close = [one for one in places if one.spare.low < 0]
    if not close:
        return ()
    first = min(close, key=lambda one: one.spare.value / max(one.torque.value, 1e-12))
    return (
        f"The doubt of the sizes allows too little torque at the {first.where} of a side ({first.spare.assumption}).",
    )
