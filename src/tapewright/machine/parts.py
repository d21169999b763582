"""The nouns of a mechanism. A fault or a repair makes a *new* machine; nothing here is ever altered.

Every part carries its ideal shape and, beside it, `Imperfections` that default to none, so that kinematics and statics
are written once and serve the ideal and the worn machine alike.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Final, Literal

from tapewright.words.estimate import Estimate

RotorKind = Literal[
    "motor", "pulley", "flywheel", "capstan", "pinch_roller", "idler_tyre", "reel_table", "gear", "cam", "counter"
]
CouplingKind = Literal["belt", "tyre", "gear", "worm", "clutch", "nip", "drag", "brake"]
SensorKind = Literal[
    "cassette_switch", "position_switch", "pulse_sensor", "key_switch", "record_switch", "auto_stop", "tacho",
    "tray_switch",
]  # fmt: skip
HeadBasePosition = Literal["down", "half", "up"]
Sight = Literal["well", "window", "inside"]

ROTOR_KINDS: Final[tuple[str, ...]] = (
    "motor", "pulley", "flywheel", "capstan", "pinch_roller", "idler_tyre", "reel_table", "gear", "cam", "counter",
)  # fmt: skip
COUPLING_KINDS: Final[tuple[str, ...]] = ("belt", "tyre", "gear", "worm", "clutch", "nip", "drag", "brake")
HOLDING_KINDS: Final = frozenset({"drag", "brake"})
"""Couplings that join no two rotors: they hold one back (a drag) or still (a brake)."""
SENSOR_KINDS: Final[tuple[str, ...]] = (
    "cassette_switch", "position_switch", "pulse_sensor", "key_switch", "record_switch", "auto_stop", "tacho",
    "tray_switch",
)  # fmt: skip
TURNING_SENSORS: Final = frozenset({"pulse_sensor", "auto_stop"})
"""Sensors that end a mode when what they watch stands still: by pulses and logic, or by a lever that frees the keys."""
HEAD_BASE_POSITIONS: Final[tuple[str, ...]] = ("down", "half", "up")
MODES: Final[tuple[str, ...]] = (
    "switch_on", "idle", "cassette_in", "play", "reverse_play", "record", "fast_forward", "rewind", "cue", "review",
    "pause", "stop", "close_tray", "open_tray",
)  # fmt: skip
"""The modes a description may have. `switch_on` is the passage from off to idle, `idle` is on without a cassette,
`cassette_in` on with one in and nothing pressed, `cue` and `review` wind with the head near the tape, `stop` is the
passage back from play, `close_tray` and `open_tray` are the passages in which a motor moves the cassette's tray."""
TRAY_MODES: Final = ("close_tray", "open_tray")
PLAYING: Final = ("play", "reverse_play", "record")
WINDING: Final = ("fast_forward", "rewind", "cue", "review")
SPOKEN_MODES: Final[dict[str, str]] = {
    "switch_on": "at switch-on",
    "idle": "switched on with no cassette in",
    "cassette_in": "with a cassette in and nothing pressed",
    "play": "in play",
    "reverse_play": "in reverse play",
    "record": "in record",
    "fast_forward": "in fast forward",
    "rewind": "in rewind",
    "cue": "in cue",
    "review": "in review",
    "pause": "in pause",
    "stop": "on stop after play",
    "close_tray": "when the tray goes in",
    "open_tray": "when the tray comes out",
    "off": "switched off and unplugged",
}


WAYS_TO_COME_ON: Final = ("wear", "rest", "break", "handling")
"""By running, by lying unused, from one moment to the next, with a repair, a knock or a move."""


@dataclass(frozen=True, slots=True)
class Imperfections:
    """What is wrong with one part. The defaults are a sound part.

    Arguments:
        present: False when it is gone, snapped or fallen off.
        works: False for a motor that does not run, a supply that gives nothing.
        grip: friction of its running surface, against a new one.
        tension: stretch tension or spring force, against as it was fitted.
        passes: torque a gear, worm or clutch can pass, against a sound one.
        drag: friction torque of its bearing, pivot or slide, or of a brake that was let go, against a free one.
        rate: speed it runs at, or effective diameter it shows, against the right one.
        pull: torque a motor or force a solenoid gives, against a sound one.
        eccentricity_m: distance of its surface's centre from its axis; half of what a dial gauge shows.
        lump: once-per-turn (or per-pass) unsteadiness it puts on what it drives, relative peak.
        tacky: 0 dry to 1 so sticky that tape or belt clings to it.
        contact: share of the time a switch or sensor tells the truth.
        signal: what a head still gives of level and treble, against a clean one.
        tilt_rad: how far a head's gap or a roller stands off square to the tape, or a tape lies creased across its way.
        swing: share of the tries in which an arm that its own friction swings arrives.
        swing_back: the same for swinging away from the side where play needs it.
        noise: rubbing, clicking or hissing that it adds: 0 none, 1 plain to hear.
        worn_m: depth of the groove or step that is worn into it, metres.
        guides_true: False when a guide beside a head is bent or out of height and drives the tape to one side.
        in_step: False when it stands out of step with what it moves, as after a strip-down.
        comes_apart: True when a spring, felt or piece of it has come off and lies loose in the machine.
        came_on: how what is wrong with it came on, a word of `WAYS_TO_COME_ON`; empty where nothing is wrong.
        spacing_m: distance that it keeps between tape and heads, beyond what clean ones have, metres.
        spot_m: the same on one track only, whichever that is.
        edge_lift_m: the same along the edges of the tape, which it bends, creases or drives against a guide.
        gap_wider_m: how much longer a head's gap is than it was made.
        weave_rad: how far the tape's lean across the head swings to either side once a turn of it.
        deposit_m: what it leaves on the heads over one side of tape, metres of spacing.
        drops_per_min: dropouts that it makes on a track, a minute.
        nicks_per_turn: how many of a reel's turns lift off where it is damaged, 0 none, 1 every one.
        erases: share, in decibels, of the erasure that a sound machine reaches.
        warm: what is wrong with it after ten minutes of running; None when that is the same as from cold.
    """

    present: bool = True
    works: bool = True
    grip: float = 1.0
    tension: float = 1.0
    passes: float = 1.0
    drag: float = 1.0
    rate: float = 1.0
    pull: float = 1.0
    eccentricity_m: float = 0.0
    lump: float = 0.0
    tacky: float = 0.0
    contact: float = 1.0
    signal: float = 1.0
    tilt_rad: float = 0.0
    swing: float = 1.0
    noise: float = 0.0
    worn_m: float = 0.0
    guides_true: bool = True
    in_step: bool = True
    swing_back: float = 1.0
    comes_apart: bool = False
    came_on: str = ""
    spacing_m: float = 0.0
    spot_m: float = 0.0
    edge_lift_m: float = 0.0
    gap_wider_m: float = 0.0
    weave_rad: float = 0.0
    deposit_m: float = 0.0
    drops_per_min: float = 0.0
    nicks_per_turn: float = 0.0
    erases: float = 1.0
    warm: "Imperfections | None" = None


SOUND: Final = Imperfections()


@dataclass(frozen=True, slots=True)
class Rotor:
    """Something that turns.

    Arguments:
        name: its key in the description; what `part` means everywhere.
        kind: one of `ROTOR_KINDS`.
        on: name of the rotor whose shaft it sits on; None when the shaft is its own.
        diameter: running (groove, rim or surface) diameter, metres; None when not measured.
        turns_per_s: the rate a motor is made to run at in play, turns per second; None when not known.
        segments: commutator segments of a motor; 0 when unknown or none.
        teeth: of a gear; 0 when unknown or none.
        inertia: kilogram square metre; None when not known.
        position_m: (x, y) of the axis, metres, seen from the cassette side; None when not measured.
        sight: where it can be seen: in the cassette well with the lid open, through a window, or only inside.
        says: what a technician calls it; empty for its name with spaces.
    """

    name: str
    kind: RotorKind
    on: str | None = None
    diameter: Estimate | None = None
    turns_per_s: Estimate | None = None
    segments: int = 0
    teeth: int = 0
    inertia: Estimate | None = None
    position_m: tuple[float, float] | None = None
    sight: Sight = "inside"
    says: str = ""
    imperfections: Imperfections = SOUND


@dataclass(frozen=True, slots=True)
class Coupling:
    """Something through which one rotor turns, holds or brakes another.

    Arguments:
        name: its key in the description.
        kind: one of `COUPLING_KINDS`.
        path: rotors it joins. A belt: every pulley in the order the belt runs, the driver first. Others: driver, then
            driven. A drag or a brake: the one rotor it holds.
        sides: for a belt, +1 where the pulley lies inside the loop, -1 where the belt's back runs on it.
        switched: True when it is only engaged in the modes that list it; False when it always is.
        section_m: (width, thickness) of a belt, metres; a square belt has both alike; None when not measured.
        length: a belt's relaxed inside length, metres; None when not measured.
        force: contact force of a tyre or nip, newtons; None when not measured.
        torque: what a clutch slips at or a drag or brake holds with, newton metres; None when not measured.
        by: what brings it in, or lets a brake go: a solenoid, the cam, "head_base" or "keys"; empty where that cannot
            fail by itself (an arm that its own friction swings).
        through: levers on the way from there.
        ratio: turns of the driven for one of the driver, for a worm or an undimensioned gear; None to derive it.
        inside: for a tyre contact, True where the smaller rotor runs on the inside of the other's rim: both then turn
            the same way round.
        sight: as for a rotor.
        says: what a technician calls it; empty for its name with spaces.
    """

    name: str
    kind: CouplingKind
    path: tuple[str, ...]
    sides: tuple[int, ...] = ()
    switched: bool = False
    section_m: tuple[float, float] | None = None
    length: Estimate | None = None
    force: Estimate | None = None
    torque: Estimate | None = None
    by: str = ""
    through: tuple[str, ...] = ()
    ratio: float | None = None
    inside: bool = False
    sight: Sight = "inside"
    says: str = ""
    imperfections: Imperfections = SOUND

    @property
    def driver(self) -> str:
        """Give the rotor that drives; a drag's own rotor."""
        return self.path[0]


@dataclass(frozen=True, slots=True)
class Sensor:
    """A switch or sensor, and what the logic does with it.

    Arguments:
        name: its key in the description.
        kind: one of `SENSOR_KINDS`.
        senses: the rotor it watches (position switch: the cam; pulse sensor and auto stop: reel table or counter;
            tacho: the motor whose speed it regulates); empty otherwise. A tray switch watches the tray.
        allows: modes that only start when it tells the truth (a cassette switch, a key switch); those of a tray switch
            only start when the tray has gone in as well.
        stops: modes that it ends when what it watches stands still; empty for all in which tape moves.
        ends: the motor whose run it ends by reporting the position (a position switch); empty otherwise.
        timeout_s: how long the logic waits for it; None when it waits for ever.
        says: what a technician calls it.
    """

    name: str
    kind: SensorKind
    senses: str = ""
    allows: tuple[str, ...] = ()
    stops: tuple[str, ...] = ()
    ends: str = ""
    timeout_s: float | None = None
    says: str = ""
    imperfections: Imperfections = SOUND


@dataclass(frozen=True, slots=True)
class Solenoid:
    """A coil with a plunger: it lifts the head base, brings a coupling in or lets a brake go.

    Arguments:
        name: its key in the description.
        sight: as for a rotor.
        says: what a technician calls it; empty for its name with spaces.
    """

    name: str
    sight: Sight = "inside"
    says: str = ""
    imperfections: Imperfections = SOUND


@dataclass(frozen=True, slots=True)
class Lever:
    """An arm, slide or link that hands motion on: from cam, keys or solenoid to head base, roller or brake.

    Arguments:
        name: its key in the description.
        sight: as for a rotor.
        says: what a technician calls it; empty for its name with spaces.
    """

    name: str
    sight: Sight = "inside"
    says: str = ""
    imperfections: Imperfections = SOUND


@dataclass(frozen=True, slots=True)
class Supply:
    """What feeds the motors: mains part or batteries, regulator, fuse."""

    name: str = "power_supply"
    says: str = ""
    imperfections: Imperfections = SOUND


@dataclass(frozen=True, slots=True)
class Heads:
    """The heads and guides that the tape runs over; every machine has them, so a description need not name them."""

    name: str = "heads"
    says: str = ""
    imperfections: Imperfections = SOUND


@dataclass(frozen=True, slots=True)
class Cassette:
    """The cassette that the complaint is about; all looks and checks but those that compare use a known good one."""

    name: str = "cassette"
    says: str = "owner's cassette"
    imperfections: Imperfections = SOUND


@dataclass(frozen=True, slots=True)
class Electronics:
    """What lies between heads and sockets: amplifiers, equalisers, the record/play switch; every machine has them."""

    name: str = "electronics"
    says: str = "replay and record electronics"
    imperfections: Imperfections = SOUND


@dataclass(frozen=True, slots=True)
class ControlBoard:
    """What reads the keys and sensors and feeds the motors; machines with finger keys alone have none."""

    name: str = "control_board"
    says: str = ""
    imperfections: Imperfections = SOUND


@dataclass(frozen=True, slots=True)
class Lid:
    """The door or lid with its latch, link and damper, or a tray that a motor moves; it opens with the head base down.

    Arguments:
        moved_by: name of the wheel or cam that moves it, driven by a motor; empty where a hand and a spring do.
        says: what a technician calls it.
    """

    name: str = "lid"
    moved_by: str = ""
    says: str = ""
    imperfections: Imperfections = SOUND


@dataclass(frozen=True, slots=True)
class HeadBase:
    """The plate that carries the heads (and here the pinch roller) up to the tape.

    Arguments:
        lifted_by: name of the cam or solenoid that lifts it; "keys" where a finger does; "solenoid" for one that has no
            name of its own.
        carries: rotors that come up with it.
        through: levers between it and what lifts it.
        says: what a technician calls it.
    """

    lifted_by: str
    carries: tuple[str, ...] = ()
    through: tuple[str, ...] = ()
    name: str = "head_base"
    says: str = ""
    imperfections: Imperfections = SOUND


@dataclass(frozen=True, slots=True)
class Mode:
    """What is powered and engaged, and what the tape should do.

    Arguments:
        name: one of `MODES`.
        motors: motor -> share of the rate it runs at in play; a minus sign for the other way round.
        engaged: the switched couplings that are engaged; a brake where it is on. Of several nips the first sets the
            tape's speed.
        solenoids: those that pull.
        head_base: where the head base should stand at the end.
        moves_head_base: True when entering the mode sends the cam (or solenoid) to work.
        takes_up: reel table that should take tape up; empty when no tape moves.
        gives: reel table that gives tape; empty when no tape moves.
        at_capstan: True when capstan and pinch roller set the tape's speed.
    """

    name: str
    motors: Mapping[str, float] = field(default_factory=dict)
    engaged: tuple[str, ...] = ()
    solenoids: tuple[str, ...] = ()
    head_base: HeadBasePosition = "down"
    moves_head_base: bool = False
    takes_up: str = ""
    gives: str = ""
    at_capstan: bool = False


@dataclass(frozen=True, slots=True)
class TapeFormat:
    """Which tape, how fast.

    Arguments:
        speed_m_per_s: the speed the machine plays at, metres per second.
        tracks: tracks across the tape.
        thickness_m: of the tape used for measuring, metres.
        hub_radius_m: empty hub, metres.
        full_radius_m: full pack, metres.
        other_speeds_m_per_s: speeds it can be switched to besides.
    """

    speed_m_per_s: float
    tracks: int
    thickness_m: float
    hub_radius_m: float
    full_radius_m: float
    other_speeds_m_per_s: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Machine:
    """One mechanism, as described.

    Arguments:
        id: short name.
        title: a line for people.
        layout: the general kind of transport.
        invented: True for machines nobody built.
        tape: the format it plays.
        rotors, couplings, sensors, solenoids, levers: by name, in the order of the description.
        supply: what feeds it.
        head_base: what carries the heads, and what lifts it.
        modes: by name.
        limits: acceptance limits by reading name, in the reading's unit; names and ways stand in `limits`.
        source: where the description came from, for messages.
        heads: what the tape runs over.
        cassette: what was in the machine when the complaint arose.
        electronics: what lies between heads and sockets.
        control_board: what reads keys and sensors; counts only where `has_logic`.
        lid: what lets the cassette in and out.
    """

    id: str
    title: str
    layout: str
    invented: bool
    tape: TapeFormat
    rotors: Mapping[str, Rotor]
    couplings: Mapping[str, Coupling]
    sensors: Mapping[str, Sensor]
    supply: Supply
    head_base: HeadBase
    modes: Mapping[str, Mode]
    limits: Mapping[str, float] = field(default_factory=dict)
    solenoids: Mapping[str, Solenoid] = field(default_factory=dict)
    levers: Mapping[str, Lever] = field(default_factory=dict)
    source: str = ""
    heads: Heads = field(default_factory=Heads)
    cassette: Cassette = field(default_factory=Cassette)
    electronics: Electronics = field(default_factory=Electronics)
    control_board: ControlBoard = field(default_factory=ControlBoard)
    lid: Lid = field(default_factory=Lid)

    def __hash__(self) -> int:
        # The mappings cannot be hashed; equality still compares everything, so a coarse hash is enough for a cache.
        return hash((self.id, tuple(self.rotors), tuple(self.couplings), tuple(self.sensors), tuple(self.modes)))


Part = (
    Rotor | Coupling | Sensor | Solenoid | Lever
    | Supply | HeadBase | Heads | Cassette | Electronics | ControlBoard | Lid
)  # fmt: skip
SINGLES: Final = ("supply", "head_base", "heads", "cassette", "electronics", "control_board", "lid")
"""Parts that a machine has one of, each an attribute of `Machine`."""


def part(machine: Machine, name: str) -> Part:
    """Find a part by its name.

    Raises:
        KeyError: when the machine has no such part.
    """
    for group in _groups(machine):
        if name in group:
            return group[name]
    for single in SINGLES:
        if getattr(machine, single).name == name:
            return getattr(machine, single)  # type: ignore[no-any-return]
    raise KeyError(name)


def _groups(machine: Machine) -> tuple[Mapping[str, Part], ...]:
    return (machine.rotors, machine.couplings, machine.sensors, machine.solenoids, machine.levers)


def part_names(machine: Machine) -> tuple[str, ...]:
    """List every part that has a name, in the order of the description."""
    there = (single for single in SINGLES if single != "control_board" or has_logic(machine))
    singles = (getattr(machine, single).name for single in there)
    return (*(name for group in _groups(machine) for name in group), *singles)


def has_logic(machine: Machine) -> bool:
    """Tell whether a control board works a machine: it has solenoids, waits for a position or pulses, moves a tray."""
    sensed = any(sensor.kind in ("position_switch", "pulse_sensor") for sensor in machine.sensors.values())
    return sensed or bool(machine.solenoids) or bool(machine.lid.moved_by)


def ended_by_switches(machine: Machine) -> frozenset[str]:
    """Name the motors that a switch ends as soon as what they move has arrived.

    >>> from tapewright.machine.library import shipped
    >>> sorted(ended_by_switches(shipped("four_track")))
    ['cam_motor']
    """
    return frozenset(sensor.ends for sensor in machine.sensors.values() if sensor.ends)


def spoken(machine: Machine, name: str) -> str:
    """Say a part the way a technician would.

    >>> from tapewright.machine.library import shipped
    >>> spoken(shipped("four_track"), "capstan_belt")
    'capstan belt'
    """
    return part(machine, name).says or name.replace("_", " ")


def shaft(machine: Machine, rotor: str) -> str:
    """Name the rotor that owns the shaft a rotor sits on; a rotor with its own shaft names itself."""
    while (on := machine.rotors[rotor].on) is not None:
        rotor = on
    return rotor


def nips_at_work(machine: Machine, mode: Mode) -> tuple[Coupling, ...]:
    """Give the nips that hold the tape in a mode; the first of them sets its speed.

    That is the first one the mode engages; the order of the description's tables does not matter.
    """
    listed = [machine.couplings[name] for name in mode.engaged if name in machine.couplings]
    always = [one for one in machine.couplings.values() if not one.switched]
    return tuple(one for one in (*listed, *sorted(always, key=lambda one: one.name)) if one.kind == "nip")


def sound(machine: Machine) -> Machine:
    """Give the same machine with nothing wrong anywhere."""
    return replace(
        machine,
        rotors={name: replace(rotor, imperfections=SOUND) for name, rotor in machine.rotors.items()},
        couplings={name: replace(coupling, imperfections=SOUND) for name, coupling in machine.couplings.items()},
        sensors={name: replace(sensor, imperfections=SOUND) for name, sensor in machine.sensors.items()},
        solenoids={name: replace(solenoid, imperfections=SOUND) for name, solenoid in machine.solenoids.items()},
        levers={name: replace(lever, imperfections=SOUND) for name, lever in machine.levers.items()},
        **{single: replace(getattr(machine, single), imperfections=SOUND) for single in SINGLES},
    )
