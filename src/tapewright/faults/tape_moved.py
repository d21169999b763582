"""What moves the tape in a mode: capstans, pinch rollers and reels, and what holds the giving reel back.

Part of the graph that `mechanism` draws; nothing here knows a fault or a sign.
"""

from functools import partial

from tapewright.faults import behaviours as does
from tapewright.faults import conditions, head_conditions
from tapewright.faults import tape_behaviours as tape_does
from tapewright.faults.bringing_in import draw_braked, draw_levers, draw_pull
from tapewright.faults.drives import capstan_shafts, engaged
from tapewright.faults.felts import draw_felt, draw_held
from tapewright.faults.graph import Node
from tapewright.faults.sheet import Sheet
from tapewright.faults.turning import draw_ability, draw_drag, draw_grip, draw_strength, margin_of
from tapewright.machine.back_tension import drags_on
from tapewright.machine.couplings import holding_motors
from tapewright.machine.parts import Coupling, Mode, nips_at_work, shaft


def draw_tape(sheet: Sheet, mode: Mode) -> None:
    """How the tape goes in a mode in which it moves, and what becomes of it."""
    if not mode.takes_up:
        return
    machine = sheet.machine
    take_up = f"turns:{shaft(machine, mode.takes_up)}@{mode.name}"
    if not sheet.has(take_up):
        sheet.node(Node(take_up, (), lambda: "loose", mode.takes_up))
    holding = _draw_hold_back(sheet, mode)
    if mode.at_capstan:
        nip = _draw_nips(sheet, mode, holding)
        sheet.node(Node(f"tape@{mode.name}", (nip, take_up, holding), tape_does.tape_in_play, "tape"))
        sheet.node(Node(f"loop@{mode.name}", (nip, take_up), tape_does.loop_forms, "tape"))
        sheet.node(Node(f"pack@{mode.name}", (f"tape@{mode.name}", holding, take_up), tape_does.pack_is_loose, "tape"))
        _draw_reserve(sheet, mode)
        compared = (f"tape@{mode.name}", sheet.condition(conditions.drag(machine.cassette.name)))
        sheet.node(Node(f"only_this@{mode.name}", compared, tape_does.only_this_cassette, machine.cassette.name))
    else:
        give_drag = draw_drag(sheet, shaft(machine, mode.gives), mode)
        sheet.node(Node(f"tape@{mode.name}", (take_up, give_drag, holding), tape_does.tape_in_wind, "tape"))
    follower = f"turns:{shaft(machine, mode.gives)}@{mode.name}"
    sheet.node(Node(follower, (f"tape@{mode.name}",), tape_does.reel_follows, mode.gives))


def _draw_reserve(sheet: Sheet, mode: Mode) -> None:
    """What the drive of each pressed capstan has in hand beyond turning it."""
    capstans = capstan_shafts(sheet.machine, mode)
    for coupling in engaged(sheet.machine, mode):
        driver, *others = (shaft(sheet.machine, rotor) for rotor in coupling.path)
        for driven in (one for one in others if one in capstans and sheet.has(f"turns:{driver}@{mode.name}")):
            asked = margin_of(sheet, coupling, mode)
            parents = (f"turns:{driver}@{mode.name}", draw_strength(sheet, mode, coupling, driven))
            function = partial(does.reserve, sound_margin=asked)
            sheet.node(Node(f"reserve:{driven}@{mode.name}", parents, function, driven))


def _draw_hold_back(sheet: Sheet, mode: Mode) -> str:
    """What holds the giving reel back: its drags, a motor fed against the tape, in play also a brake that rubs."""
    machine = sheet.machine
    felt = [one for one in drags_on(machine, mode.gives) if not one.drag.switched or one.drag.name in mode.engaged]
    holds = [draw_felt(sheet, mode, one) for one in felt]
    for motor in holding_motors(machine, mode.name):
        able = draw_ability(sheet, mode, motor)
        holds.append(sheet.node(Node(f"holds:{motor}/{able}", (able,), does.motor_holds_back, motor)))
    braking = draw_braked(sheet, mode, shaft(machine, mode.gives)) if mode.at_capstan else ()
    if mode.at_capstan:
        askew = (sheet.condition(head_conditions.guide(machine.heads.name)),)
        braking = (*braking, sheet.node(Node("rubbing:guides", askew, tape_does.guide_rubs, machine.heads.name)))
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
        nip = sheet.node(Node(f"nip@{mode.name}", each, tape_does.nips_together, nips[0].name))
        sheet.node(Node(f"head_loop@{mode.name}", each[:2], tape_does.head_loop, "tape"))
        leaning = each[1]
    creased = Node(f"creased@{mode.name}", (leaning, *_draw_guides(sheet, nips)), tape_does.edge_creases, "tape")
    sheet.node(Node(f"edge@{mode.name}", (sheet.node(creased), holding), tape_does.edge_wanders, "tape"))
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
    closing = [base, draw_grip(sheet, coupling)]
    if carried and sheet.has(f"reported@{mode.name}"):
        closing.append(f"reported@{mode.name}")
    function = partial(tape_does.nip_closes, sound_margin=margin_of(sheet, coupling, mode))
    leads = coupling is nips_at_work(machine, mode)[0]
    stem = "closed" if leads else f"closed:{coupling.name}"
    closed = sheet.node(Node(f"{stem}@{mode.name}", tuple(closing), function, coupling.name))
    turning = f"turns:{shaft(machine, capstan)}@{mode.name}"
    if not sheet.has(turning):
        sheet.node(Node(turning, (), lambda: "loose", capstan))
    parents = (closed, turning, sheet.condition(conditions.trimmed(capstan)))
    driven = sheet.node(Node(name, parents, tape_does.nip_drives, coupling.name))
    comes = (base, sheet.condition(conditions.surface(roller)))
    sheet.node(Node(f"comes:{roller}@{mode.name}", comes, tape_does.roller_comes, roller))
    turns = (driven, sheet.condition(conditions.drag(roller)))
    sheet.node(Node(f"rolls:{roller}@{mode.name}", turns, tape_does.roller_turns, roller))
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
        rubbed.append(sheet.node(Node(f"oxide{own}@{mode.name}", (nip, roller), tape_does.tape_is_scrubbed, "tape")))
        wrapped.append(sheet.node(Node(f"wrap{own}@{mode.name}", (nip, roller, capstan), tape_does.tape_wraps, "tape")))
    sheet.node(Node(f"oxide@{mode.name}", tuple(rubbed), does.either, "tape"))
    sheet.node(Node(f"wrap@{mode.name}", tuple(wrapped), does.either, "tape"))
