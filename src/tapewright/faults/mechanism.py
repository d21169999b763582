"""The functions of a machine, along its drives, in every mode: one graph, built from the description alone.

Nothing here knows a fault or a sign. Change the description (let the flywheel lift the head base, drive the take-up
from the flywheel, keep the capstan motor running) and the graph, and with it every belief, changes.
"""

from dataclasses import dataclass
from functools import partial
from typing import Final

from tapewright.faults import behaviours as does
from tapewright.faults import conditions, head_conditions, two_moments
from tapewright.faults.bringing_in import (
    draw_braked,
    draw_brought,
    draw_levers,
    draw_overrunning,
    draw_permit,
    draw_pull,
    is_ready,
)
from tapewright.faults.complaint import draw_complaint, draw_loose_pieces
from tapewright.faults.conditions import Condition
from tapewright.faults.drives import driven_by, engaged, reached_from
from tapewright.faults.felts import draw_felt, draw_held, draw_thrown
from tapewright.faults.graph import Node
from tapewright.faults.head_base import draw_head_base
from tapewright.faults.heard import (
    draw_cut_short,
    draw_heard,
    draw_keys,
    draw_recording,
    draw_running_out,
)
from tapewright.faults.moments import draw_moments
from tapewright.faults.sheet import Sheet
from tapewright.faults.tracks_heard import draw_tracks
from tapewright.faults.tray import draw_closing_first, draw_tray, draw_way_out
from tapewright.machine.back_tension import drags_on
from tapewright.machine.couplings import holding_motors
from tapewright.machine.parts import (
    HOLDING_KINDS,
    TURNING_SENSORS,
    Coupling,
    Machine,
    Mode,
    Sensor,
    has_logic,
    nips_at_work,
    shaft,
    sound,
)

HEARD_BEYOND: Final = 3
"""How many shafts, outward from a motor, can be heard to burden it; from memory."""
IDLE_MARGIN: Final = 20.0
"""Margin of a coupling that nothing drives in a mode: it only has to hold still."""
BEFORE: dict[str, str] = {"idle": "off", "switch_on": "off", "cassette_in": "idle", "pause": "play", "stop": "play"}
BEFORE |= {"close_tray": "idle", "open_tray": "cassette_in"}
BEFORE |= dict.fromkeys(("play", "reverse_play", "record", "fast_forward", "rewind", "cue", "review"), "cassette_in")
"""The mode one comes from: a motor that ran there already is not heard to start."""


@dataclass(frozen=True, slots=True)
class Mechanism:
    """A machine's conditions (one part each) and the functions that hang on them, parents first."""

    machine: Machine
    conditions: tuple[Condition, ...]
    nodes: tuple[Node, ...]


def mechanism(machine: Machine) -> Mechanism:
    """Build the graph of a machine's functions from its description.

    Arguments:
        machine: its imperfections do not matter here; the sound machine's margins are used.
    """
    ideal = sound(machine)
    sheet = Sheet(ideal)
    for mode in modes_told_apart(ideal):
        _draw_mode(sheet, mode)
        draw_heard(sheet, mode)
        draw_tracks(sheet, mode)
        draw_complaint(sheet, mode)
    for mode in modes_told_apart(ideal):
        draw_moments(sheet, mode, _draw_mode)
    draw_way_out(sheet)
    draw_keys(sheet)
    draw_thrown(sheet)
    draw_recording(sheet)
    _draw_surfaces(sheet)
    draw_loose_pieces(sheet)
    return Mechanism(machine, tuple(sheet.conditions.values()), tuple(sheet.nodes.values()))


def modes_told_apart(machine: Machine) -> tuple[Mode, ...]:
    """Give the modes that differ in what they do mechanically; record is play with other electronics."""
    play = machine.modes.get("play")
    same = {"record"} if play is not None else set()
    return tuple(mode for mode in machine.modes.values() if mode.name not in same)


def _draw_mode(sheet: Sheet, mode: Mode) -> None:
    draw_closing_first(sheet, mode, _draw_mode)
    lifters = _lifting_motors(sheet.machine, mode)
    _draw_motors(sheet, mode, [name for name in mode.motors if name in lifters], waits=False)
    _draw_turning(sheet, mode)
    draw_head_base(sheet, mode)
    _draw_motors(sheet, mode, [name for name in mode.motors if name not in lifters], waits=True)
    _draw_turning(sheet, mode)
    _draw_unpowered(sheet, mode)
    draw_tray(sheet, mode, _draw_strength, _asked)
    _draw_tape(sheet, mode)
    _draw_turning(sheet, mode)
    _draw_sounds(sheet, mode)
    _draw_stopping(sheet, mode)
    draw_cut_short(sheet, mode)
    draw_overrunning(sheet, mode)


# --- motors ----------------------------------------------------------------------------------------------------------


def _lifting_motors(machine: Machine, mode: Mode) -> frozenset[str]:
    """Name the motors that turn what lifts the head base in this mode."""
    lifter = machine.head_base.lifted_by
    if not mode.moves_head_base or lifter not in machine.rotors:
        return frozenset()
    return frozenset(motor for motor in mode.motors if shaft(machine, lifter) in reached_from(machine, mode, motor))


def _waits(machine: Machine, mode: Mode, motor: str) -> bool:
    """Tell whether a motor waits until the head base is reported in place: it did not run before this mode."""
    before = machine.modes.get(BEFORE[mode.name])
    ran_before = before is not None and motor in before.motors
    watched = any(s.kind == "position_switch" for s in machine.sensors.values())
    return mode.moves_head_base and watched and not ran_before


def _draw_motors(sheet: Sheet, mode: Mode, motors: list[str], *, waits: bool) -> None:
    holding = holding_motors(sheet.machine, mode.name)
    for name in (one for one in motors if one not in holding):
        parents = [_draw_ability(sheet, mode, name)]
        if waits and _waits(sheet.machine, mode, name) and sheet.has(f"reported@{mode.name}"):
            parents.append(f"reported@{mode.name}")
        load = _draw_load(sheet, mode, name)
        if load is None:
            turning = Node(f"turns:{name}@{mode.name}", tuple(parents), does.motor_runs, name)
            sheet.same_as(turning.name, parents[0], name) if len(parents) == 1 else sheet.node(turning)
        else:
            runs = sheet.node(Node(f"runs:{name}@{mode.name}", tuple(parents), does.motor_runs, name))
            sheet.node(Node(f"turns:{name}@{mode.name}", (runs, load), does.motor_carries, name))
        if mode.at_capstan:
            runs_so = (f"turns:{name}@{mode.name}",)
            sheet.node(Node(f"helped_on:{name}@{mode.name}", runs_so, two_moments.motor_helped_on, name))


def _draw_ability(sheet: Sheet, mode: Mode, motor: str) -> str:
    """How a motor would run if nothing held it up: what feeds it, what permits it, what it is."""
    permit = draw_permit(sheet, mode)
    fed = sheet.condition(conditions.feed(sheet.machine.supply.name))
    parents = (fed, permit, sheet.condition(conditions.motor(motor)))
    able = sheet.node(Node(f"able:{motor}/{permit}", parents, does.motor_able, motor))
    for sensor in sheet.machine.sensors.values():
        if sensor.kind == "tacho" and sensor.senses == motor:
            regulated = (able, sheet.condition(conditions.contact(sensor.name)))
            return sheet.node(Node(f"regulated:{motor}/{permit}", regulated, does.motor_regulated, motor))
    return able


def _draw_load(sheet: Sheet, mode: Mode, motor: str) -> str | None:
    """How freely what sits on a motor's own shaft turns: a capstan, a reel table; None where nothing of it can bind."""
    machine = sheet.machine
    riders = [r.name for r in machine.rotors.values() if r.name != motor and shaft(machine, r.name) == motor]
    bearing = [name for name in riders if machine.rotors[name].kind not in ("pulley", "gear")]
    braking = draw_braked(sheet, mode, motor)
    if not bearing and not braking:
        return None
    parents = (*(sheet.condition(conditions.drag(name)) for name in bearing), *braking)
    return sheet.node(Node(f"load:{motor}+{'+'.join(braking)}", parents, does.worst_drag, motor))


def _draw_unpowered(sheet: Sheet, mode: Mode) -> None:
    """A motor that is not fed stands, and holds what is belted or meshed to it; one on a reel's shaft goes with it."""
    giving = shaft(sheet.machine, mode.gives) if mode.gives else ""
    for rotor in sheet.machine.rotors.values():
        if rotor.kind == "motor" and rotor.name not in mode.motors and rotor.name != giving:
            sheet.node(Node(f"turns:{rotor.name}@{mode.name}", (), lambda: "still", rotor.name))
    _draw_turning(sheet, mode)


# --- drives ----------------------------------------------------------------------------------------------------------


def _draw_turning(sheet: Sheet, mode: Mode) -> None:
    """Carry motion outward from every shaft that is known to turn or stand."""
    grown = True
    while grown:
        grown = False
        for coupling in engaged(sheet.machine, mode):
            driver, *others = (shaft(sheet.machine, rotor) for rotor in coupling.path)
            for other in others:
                if _can_be_drawn(sheet, mode, coupling, driver, other):
                    _draw_link(sheet, mode, coupling, driver, other)
                    grown = True


def _can_be_drawn(sheet: Sheet, mode: Mode, coupling: Coupling, driver: str, driven: str) -> bool:
    if not sheet.has(f"turns:{driver}@{mode.name}") or sheet.has(f"turns:{driven}@{mode.name}"):
        return False
    brakes = (c for c in sheet.machine.couplings.values() if c.kind == "brake" and c.name not in mode.engaged)
    on_it = [c for c in brakes if shaft(sheet.machine, c.driver) == driven]
    return all(is_ready(sheet, mode, one) for one in (coupling, *on_it))


def _draw_link(sheet: Sheet, mode: Mode, coupling: Coupling, driver: str, driven: str) -> None:
    turning = f"turns:{driver}@{mode.name}"
    brought = draw_brought(sheet, mode, coupling)
    if brought is not None:
        through = Node(f"fed:{coupling.name}@{mode.name}", (turning, brought), does.fed_through, coupling.name)
        turning = sheet.node(through)
    parents = (turning, _draw_strength(sheet, mode, coupling, driven))
    asked = _asked(sheet, coupling, mode)
    function = partial(does.pass_on, sound_margin=asked)
    if mode.at_capstan and driven in _worked_by_tape(sheet.machine, mode):
        helped = partial(two_moments.helped_on, sound_margin=asked)
        sheet.node(Node(f"helped_on:{driven}@{mode.name}", parents, helped, driven))
    sheet.node_once(Node(f"turns:{driven}@{mode.name}", parents, function, driven), does.margin_class(asked))


def _draw_strength(sheet: Sheet, mode: Mode, coupling: Coupling, driven: str) -> str:
    """What a coupling does to one shaft, the same in every mode unless a brake may rub there."""
    drag = _draw_drag(sheet, driven, mode)
    resized = (coupling.driver, coupling.name) if coupling.kind == "belt" else (coupling.driver,)
    sizes = (sheet.condition(conditions.trimmed(name)) for name in resized)
    parents = (_draw_grip(sheet, coupling), drag, *sizes)
    return sheet.node(Node(f"strength:{coupling.name}/{drag}", parents, does.strength, coupling.name))


def _asked(sheet: Sheet, coupling: Coupling, mode: Mode) -> float:
    """Give a sound coupling's margin; one that nothing drives in this mode is asked for next to nothing."""
    found = sheet.margins(sheet.machine, mode.name).get(coupling.name)
    return found.ratio.value if found is not None else IDLE_MARGIN


def _draw_grip(sheet: Sheet, coupling: Coupling) -> str:
    """What a coupling passes: its own state, and that of every surface it runs on."""
    machine = sheet.machine
    parts = [conditions.hold(coupling.name, (coupling.name,))]
    for rotor in coupling.path:
        own = tuple(c.name for c in machine.couplings.values() if rotor in c.path and c.kind not in HOLDING_KINDS)
        parts.append(conditions.hold(rotor, own))
    parents = tuple(sheet.condition(one) for one in parts)
    return sheet.node(Node(f"grip:{coupling.name}", parents, does.worst_grip, coupling.name))


def _draw_drag(sheet: Sheet, on_shaft: str, mode: Mode) -> str:
    """How freely a shaft turns: its own bearing, all on it, a brake, and the head base with its levers on the cam."""
    machine = sheet.machine
    parts = [rotor.name for rotor in machine.rotors.values() if shaft(machine, rotor.name) == on_shaft]
    belts = (c for c in machine.couplings.values() if c.kind == "belt")
    parts += [belt.name for belt in belts if on_shaft in {shaft(machine, rotor) for rotor in belt.path[1:]}]
    lifter = machine.head_base.lifted_by
    lifts = lifter in machine.rotors and shaft(machine, lifter) == on_shaft and machine.rotors[lifter].kind == "cam"
    if lifts:
        parts.append(machine.head_base.name)
    if machine.lid.moved_by and shaft(machine, machine.lid.moved_by) == on_shaft:
        parts.append(machine.lid.name)
    parents = tuple(sheet.condition(conditions.drag(name)) for name in parts)
    if lifts and machine.head_base.through:
        levers = draw_levers(sheet, machine.head_base.through)
        parents = (*parents, sheet.node(Node("stiffness:levers", (levers,), _stiffness, machine.head_base.name)))
    own = sheet.node(Node(f"drag:{on_shaft}+", parents, does.worst_drag, on_shaft))
    braking = draw_braked(sheet, mode, on_shaft)
    if not braking:
        return own
    return sheet.node(Node(f"drag:{on_shaft}+{'+'.join(braking)}", (own, *braking), does.worst_drag, on_shaft))


def _stiffness(levers: str) -> str:
    return "free" if levers == "gone" else levers


# --- tape ------------------------------------------------------------------------------------------------------------


def _draw_tape(sheet: Sheet, mode: Mode) -> None:
    if not mode.takes_up:
        return
    machine = sheet.machine
    take_up = f"turns:{shaft(machine, mode.takes_up)}@{mode.name}"
    if not sheet.has(take_up):
        sheet.node(Node(take_up, (), lambda: "loose", mode.takes_up))
    holding = _draw_hold_back(sheet, mode)
    if mode.at_capstan:
        nip = _draw_nips(sheet, mode, holding)
        sheet.node(Node(f"tape@{mode.name}", (nip, take_up, holding), does.tape_in_play, "tape"))
        sheet.node(Node(f"loop@{mode.name}", (nip, take_up), does.loop_forms, "tape"))
        sheet.node(Node(f"pack@{mode.name}", (f"tape@{mode.name}", holding, take_up), does.pack_is_loose, "tape"))
        _draw_reserve(sheet, mode)
        compared = (f"tape@{mode.name}", sheet.condition(conditions.drag(machine.cassette.name)))
        sheet.node(Node(f"only_this@{mode.name}", compared, does.only_this_cassette, machine.cassette.name))
    else:
        give_drag = _draw_drag(sheet, shaft(machine, mode.gives), mode)
        sheet.node(Node(f"tape@{mode.name}", (take_up, give_drag, holding), does.tape_in_wind, "tape"))
    follower = f"turns:{shaft(machine, mode.gives)}@{mode.name}"
    sheet.node(Node(follower, (f"tape@{mode.name}",), does.reel_follows, mode.gives))


def _draw_reserve(sheet: Sheet, mode: Mode) -> None:
    """What the drive of each pressed capstan has in hand beyond turning it."""
    capstans = _capstan_shafts(sheet.machine, mode)
    for coupling in engaged(sheet.machine, mode):
        driver, *others = (shaft(sheet.machine, rotor) for rotor in coupling.path)
        for driven in (one for one in others if one in capstans and sheet.has(f"turns:{driver}@{mode.name}")):
            asked = _asked(sheet, coupling, mode)
            parents = (f"turns:{driver}@{mode.name}", _draw_strength(sheet, mode, coupling, driven))
            function = partial(does.reserve, sound_margin=asked)
            sheet.node(Node(f"reserve:{driven}@{mode.name}", parents, function, driven))


def _capstan_shafts(machine: Machine, mode: Mode) -> frozenset[str]:
    nips = nips_at_work(machine, mode) if mode.at_capstan else ()
    return frozenset(shaft(machine, e) for nip in nips for e in nip.path if machine.rotors[e].kind == "capstan")


def _draw_hold_back(sheet: Sheet, mode: Mode) -> str:
    """What holds the giving reel back: its drags, a motor fed against the tape, in play also a brake that rubs."""
    machine = sheet.machine
    felt = [one for one in drags_on(machine, mode.gives) if not one.drag.switched or one.drag.name in mode.engaged]
    holds = [draw_felt(sheet, mode, one, _draw_grip, _asked) for one in felt]
    for motor in holding_motors(machine, mode.name):
        able = _draw_ability(sheet, mode, motor)
        holds.append(sheet.node(Node(f"holds:{motor}/{able}", (able,), does.motor_holds_back, motor)))
    braking = draw_braked(sheet, mode, shaft(machine, mode.gives)) if mode.at_capstan else ()
    if mode.at_capstan:
        askew = (sheet.condition(head_conditions.guide(machine.heads.name)),)
        braking = (*braking, sheet.node(Node("rubbing:guides", askew, does.guide_rubs, machine.heads.name)))
    if not holds and not braking:
        return sheet.node(Node("hold_back:none", (), lambda: "right"))
    if len(holds) == 1 and not braking and not any(one.way for one in felt):
        return holds[0]
    brakes = sheet.node(Node(f"rubbing:{mode.gives}+{'+'.join(braking)}", braking, does.worst_drag, mode.gives))
    held = sheet.node(Node(f"held_back@{mode.name}", (brakes, *holds), does.held_back, mode.gives))
    return draw_held(sheet, mode, held, felt)


def _draw_nips(sheet: Sheet, mode: Mode, holding: str) -> str:
    """What all capstans together do with the tape; the first nip of a mode leads, another holds the tape before it."""
    nips = nips_at_work(sheet.machine, mode)
    if len(nips) == 1:
        nip = _draw_nip(sheet, mode, nips[0], f"nip@{mode.name}")
        leaning = f"closed@{mode.name}"
    else:
        each = tuple(_draw_nip(sheet, mode, one, f"nip:{one.name}@{mode.name}") for one in nips)
        nip = sheet.node(Node(f"nip@{mode.name}", each, does.nips_together, nips[0].name))
        sheet.node(Node(f"head_loop@{mode.name}", each[:2], does.head_loop, "tape"))
        leaning = each[1]
    creased = Node(f"creased@{mode.name}", (leaning, *_draw_guides(sheet, nips)), does.edge_creases, "tape")
    sheet.node(Node(f"edge@{mode.name}", (sheet.node(creased), holding), does.edge_wanders, "tape"))
    _draw_tape_surface(sheet, mode, nips)
    return nip


def _draw_guides(sheet: Sheet, nips: tuple[Coupling, ...]) -> tuple[str, ...]:
    """What else can drive the tape to one side: a roller or a guide that stands askew."""
    rollers = [end for nip in nips for end in nip.path if sheet.machine.rotors[end].kind == "pinch_roller"]
    guiding = [head_conditions.square(roller) for roller in rollers]
    guiding.append(head_conditions.guide(sheet.machine.heads.name))
    return tuple(sheet.condition(one) for one in guiding)


def _draw_nip(sheet: Sheet, mode: Mode, coupling: Coupling, name: str) -> str:
    machine = sheet.machine
    capstan = next((end for end in coupling.path if machine.rotors[end].kind == "capstan"), coupling.path[0])
    roller = next(end for end in coupling.path if end != capstan)
    carried = roller in machine.head_base.carries and sheet.has(f"head_base@{mode.name}")
    base = f"head_base@{mode.name}" if carried else sheet.node(Node("head_base:fixed", (), lambda: "arrives"))
    base = _draw_arm(sheet, mode, coupling, base)
    closing = [base, _draw_grip(sheet, coupling)]
    if carried and sheet.has(f"reported@{mode.name}"):
        closing.append(f"reported@{mode.name}")
    function = partial(does.nip_closes, sound_margin=_asked(sheet, coupling, mode))
    leads = coupling is nips_at_work(machine, mode)[0]
    stem = "closed" if leads else f"closed:{coupling.name}"
    closed = sheet.node(Node(f"{stem}@{mode.name}", tuple(closing), function, coupling.name))
    turning = f"turns:{shaft(machine, capstan)}@{mode.name}"
    if not sheet.has(turning):
        sheet.node(Node(turning, (), lambda: "loose", capstan))
    parents = (closed, turning, sheet.condition(conditions.trimmed(capstan)))
    driven = sheet.node(Node(name, parents, does.nip_drives, coupling.name))
    comes = (base, sheet.condition(conditions.surface(roller)))
    sheet.node(Node(f"comes:{roller}@{mode.name}", comes, does.roller_comes, roller))
    turns = (driven, sheet.condition(conditions.drag(roller)))
    sheet.node(Node(f"rolls:{roller}@{mode.name}", turns, does.roller_turns, roller))
    return driven


def _draw_arm(sheet: Sheet, mode: Mode, nip: Coupling, base: str) -> str:
    """How far the roller comes: with the head base, then by its arm and by what presses it on."""
    if nip.through:
        parents = (base, draw_levers(sheet, nip.through))
        base = sheet.node(Node(f"arm:{nip.name}@{mode.name}", parents, does.arm_brings, nip.through[0]))
    if nip.by in mode.solenoids:
        parents = (draw_pull(sheet, mode, nip.by), base)
        base = sheet.node(Node(f"pressed:{nip.name}@{mode.name}", parents, _pressed, nip.name))
    return base


def _pressed(pull: str, base: str) -> str:
    if pull == "no":
        return "stays"
    return base if pull == "yes" or base in ("stays", "part") else {"weak": "part"}.get(pull, "at_times")


def _draw_tape_surface(sheet: Sheet, mode: Mode, nips: tuple[Coupling, ...]) -> None:
    rubbed, wrapped = [], []
    for coupling in nips:
        own = "" if len(nips) == 1 else f":{coupling.name}"
        capstan, roller = (sheet.condition(conditions.surface(rotor)) for rotor in coupling.path)
        nip = f"nip{own}@{mode.name}"
        rubbed.append(sheet.node(Node(f"oxide{own}@{mode.name}", (nip, roller), does.tape_is_scrubbed, "tape")))
        wrapped.append(sheet.node(Node(f"wrap{own}@{mode.name}", (nip, roller, capstan), does.tape_wraps, "tape")))
    sheet.node(Node(f"oxide@{mode.name}", tuple(rubbed), does.either, "tape"))
    sheet.node(Node(f"wrap@{mode.name}", tuple(wrapped), does.either, "tape"))


# --- what is heard, what stops ---------------------------------------------------------------------------------------


def _draw_sounds(sheet: Sheet, mode: Mode) -> None:
    machine = sheet.machine
    before = machine.modes.get(BEFORE[mode.name])
    holding = holding_motors(machine, mode.name)
    fresh = [name for name in mode.motors if before is None or name not in before.motors]
    newly = [name for name in fresh if name not in holding]
    if not mode.takes_up:
        running = tuple(f"turns:{name}@{mode.name}" for name in newly)
        sheet.node(Node(f"starts@{mode.name}", running, does.starts))
    for solenoid in mode.solenoids:
        draw_pull(sheet, mode, solenoid)
    for name in mode.motors:
        if name in newly:
            _draw_motor_sound(sheet, mode, name)
        if any(s.ends == name for s in machine.sensors.values()) and sheet.has(f"reported@{mode.name}"):
            parents = (f"turns:{name}@{mode.name}", f"reported@{mode.name}")
            sheet.node(Node(f"runs_on:{name}@{mode.name}", parents, does.runs_on, name))
    _draw_squeal(sheet, mode)


def _draw_motor_sound(sheet: Sheet, mode: Mode, name: str) -> None:
    machine = sheet.machine
    first = list(driven_by(machine, mode, name))
    near = tuple(_draw_strength(sheet, mode, coupling, driven) for coupling, driven in first)
    beyond = [driven for _, one in first for _, driven in driven_by(machine, mode, one)]
    further = tuple(_draw_drag(sheet, one, mode) for one in dict.fromkeys(beyond[: max(0, HEARD_BEYOND - len(first))]))
    parents = (f"turns:{name}@{mode.name}", *near, *further)
    function = partial(_sounds, count=len(near))
    sheet.node(Node(f"sounds:{name}@{mode.name}", parents, function, name))


def _sounds(run: str, *others: str, count: int) -> str:
    return does.sounds(run, others[:count], others[count:])


def _draw_squeal(sheet: Sheet, mode: Mode) -> None:
    """Squeal from any driven shaft, told by where it comes from."""
    machine = sheet.machine
    for coupling in engaged(machine, mode):
        for driven in (shaft(machine, rotor) for rotor in coupling.path[1:]):
            turning = f"turns:{driven}@{mode.name}"
            if sheet.has(turning) and driven in _worked_by_tape(machine, mode):
                is_driven = sheet.has(f"turns:{shaft(machine, coupling.driver)}@{mode.name}")
                rubbing = (
                    _draw_strength(sheet, mode, coupling, driven) if is_driven else _draw_drag(sheet, driven, mode)
                )
                parents = (turning, rubbing)
                sheet.node(Node(f"rubs:{driven}@{mode.name}", parents, does.rubs, driven))


def _worked_by_tape(machine: Machine, mode: Mode) -> frozenset[str]:
    """Name the shafts that the tape loads in a mode: only these squeal in a way that tells."""
    reels = {shaft(machine, reel) for reel in (mode.takes_up, mode.gives) if reel}
    return frozenset(reels | _capstan_shafts(machine, mode))


def _draw_stopping(sheet: Sheet, mode: Mode) -> None:
    machine = sheet.machine
    if not mode.takes_up:
        return
    watching = [s for s in machine.sensors.values() if _stops(machine, mode, s) and _seen_turning(sheet, mode, s)]
    for sensor in watching:
        turning = f"turns:{shaft(machine, sensor.senses)}@{mode.name}"
        parents = (turning, sheet.condition(conditions.contact(sensor.name)), _draw_start(sheet, mode))
        own = "" if len(watching) == 1 else f":{sensor.name}"
        sheet.node(Node(f"stops{own}@{mode.name}", parents, does.logic_stops, sensor.name))
    if len(watching) > 1:
        each = tuple(f"stops:{sensor.name}@{mode.name}" for sensor in watching)
        sheet.node(Node(f"stops@{mode.name}", each, does.either, watching[0].name))


def _draw_start(sheet: Sheet, mode: Mode) -> str:
    """Whether a mode starts at all: as its only motor does, or as its switches let it where there are several."""
    if len(mode.motors) != 1:
        return draw_permit(sheet, mode)
    able = _draw_ability(sheet, mode, next(iter(mode.motors)))
    return sheet.node(Node(f"start:{able}", (able,), does.start_of, "tape"))


def _stops(machine: Machine, mode: Mode, sensor: Sensor) -> bool:
    return sensor.kind in TURNING_SENSORS and mode.name in (sensor.stops or machine.modes)


def _seen_turning(sheet: Sheet, mode: Mode, sensor: Sensor) -> bool:
    return sheet.has(f"turns:{shaft(sheet.machine, sensor.senses)}@{mode.name}")


def _draw_surfaces(sheet: Sheet) -> None:
    """What can be seen and felt of single parts, and how steadily each turns."""
    for rotor in sheet.machine.rotors.values():
        sheet.condition(conditions.surface(rotor.name))
        sheet.condition(conditions.drag(rotor.name))
        sheet.condition(conditions.steady(rotor.name))
        sheet.condition(conditions.wobble(rotor.name))
        sheet.condition(conditions.noise(rotor.name))
    draw_running_out(sheet)
    sheet.condition(conditions.lamps(sheet.machine.supply.name))
    for coupling in sheet.machine.couplings.values():
        sheet.condition(conditions.surface(coupling.name))
        sheet.condition(conditions.steady(coupling.name))
        if coupling.kind == "brake":
            sheet.condition(conditions.brake(coupling.name))
            sheet.condition(conditions.drag(coupling.name))
        elif coupling.kind != "drag":
            sheet.condition(conditions.hold(coupling.name, (coupling.name,)))
    for solenoid in sheet.machine.solenoids:
        sheet.condition(conditions.solenoid(solenoid))
    for lever in sheet.machine.levers:
        sheet.condition(conditions.lever(lever))
    sheet.condition(conditions.drag(sheet.machine.head_base.name))
    for about in (head_conditions.signal, head_conditions.square, head_conditions.guide):
        sheet.condition(about(sheet.machine.heads.name))
    if has_logic(sheet.machine):
        sheet.condition(conditions.contact(sheet.machine.control_board.name))
    sheet.condition(head_conditions.sound_path(sheet.machine.electronics.name))
    sheet.condition(head_conditions.erases(sheet.machine.electronics.name))
    for about in (conditions.drag, head_conditions.square, conditions.surface):
        sheet.condition(about(sheet.machine.cassette.name))
    for about in (head_conditions.edge, head_conditions.sheds):
        sheet.condition(about(sheet.machine.cassette.name))
