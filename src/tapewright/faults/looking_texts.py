"""How what a part itself is like is noticed, by torch, hand and test tape, in a technician's words."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final


@dataclass(frozen=True, slots=True)
class Wording:
    """How one word of a part's own condition is noticed.

    Arguments:
        id, about, says, how, words, sense, minutes, hazards: as for `sign_texts.Template`.
        kinds: kinds of part it applies to.
        mode: in which it is looked for.
        inside: whether the case must be open; None to go by where the part can be seen.
        aside: True where it is taken when told of, and not proposed as a check.
        read_at: the function it is noticed at where the mechanism has it, since more than this part speaks there; with
            {shaft} for the shaft the part sits on.
    """

    id: str
    about: str
    kinds: tuple[str, ...]
    says: str
    how: str
    words: Mapping[str, float]
    sense: str = "see"
    minutes: float = 3.0
    mode: str = "off"
    inside: bool | None = None
    hazards: tuple[str, ...] = field(default=("power",))
    read_at: str = ""
    aside: bool = False

    def fits(self, kind: str) -> bool:
        """Tell whether it applies to a kind of part."""
        return kind in self.kinds


_TORCH = "Unplugged, lid open, torch into the well: "
_OPEN = "Unplugged and opened: "

ON_LOOKING: Final = (
    Wording("looks_bad", "surface", ("pinch_roller",), "The {part} does not look or feel right: shiny, tacky, flat or cracked",
            _TORCH + "look at the surface all round, touch it with a dry swab.",
            {"shiny": 1.0, "sticky": 1.0, "flat": 1.0, "uneven": 0.5}, minutes=2, hazards=("power", "nip")),
    Wording("shiny", "surface", ("pinch_roller",), "The {part} is hard and shiny",
            _TORCH + "look at the surface; a thumbnail leaves no mark.", {"shiny": 1.0}, hazards=("power", "nip")),
    Wording("filmed", "surface", ("pinch_roller",), "An oxide-coloured film or band lies on the {part}",
            _TORCH + "look at the surface all round.", {"sticky": 1.0, "shiny": 0.8}, hazards=("power", "nip")),
    Wording("sticky", "surface", ("pinch_roller",), "The {part} is tacky, or keeps blackening the swab",
            _TORCH + "touch it with a dry swab.", {"sticky": 1.0}, hazards=("power", "nip")),
    Wording("crusted", "surface", ("capstan",), "The {part} has a brown ring or tape wound on it",
            _TORCH + "turn the shaft by hand and look.", {"crusted": 1.0}, hazards=("power", "nip")),
    Wording("light", "surface", ("pinch_roller",), "The {part} presses too lightly: it stops turning below 200 gf",
            "Lid open, in play without a cassette, pull the roller off the capstan with a spring scale until it stops.",
            {"light": 1.0}, sense="feel", minutes=8, mode="play", hazards=("nip", "moving")),
    Wording("gone", "surface", ("belt",), "The {part} is off or gone", _OPEN + "look for it on its pulleys.",
            {"gone": 1.0}, hazards=("power",)),
    Wording("slack", "surface", ("belt",), "The {part} hangs slack or has gone hard", _OPEN + "lift it with a hook.",
            {"slack": 1.0, "sticky": 0.3, "gone": 0.3}, sense="feel", hazards=("power",)),
    Wording("sticky", "surface", ("belt",), "The {part} has gone soft or to tar", _OPEN + "touch it with a gloved finger.",
            {"sticky": 1.0}, hazards=("power", "tar")),
    Wording("shiny", "surface", ("idler_tyre",), "The {part} is hard and shiny",
            _OPEN + "look at it; a thumbnail leaves no mark.", {"shiny": 1.0, "flat": 0.3}, hazards=("power",)),
    Wording("better_wiped", "surface", ("idler_tyre", "reel_table"), "Winding is better for some days after the {part} is wiped",
            _OPEN + "wipe it with a cloth damp with alcohol, let it dry, close, wind a whole sacrificial cassette.",
            {"shiny": 1.0, "flat": 0.2}, minutes=15, inside=True, hazards=("power", "solvent", "tape")),
    Wording("sticky", "surface", ("idler_tyre",), "The {part} has gone soft and sticky",
            _OPEN + "swing the idler by hand: it should fall free.", {"sticky": 1.0}, hazards=("power", "tar")),
    Wording("flat", "surface", ("idler_tyre",), "The {part} has a flat", _OPEN + "turn it once round by hand.",
            {"flat": 1.0}, hazards=("power",)),
    Wording("rim_dirty", "surface", ("reel_table",), "The rim of the {part} is greasy", _OPEN + "wipe it once, look.",
            {"shiny": 1.0}, inside=True, hazards=("power", "solvent")),
    Wording("crusted", "surface", ("pulley",), "The groove of the {part} is crusted",
            _OPEN + "feel the groove with a wooden pick.", {"crusted": 1.0}, hazards=("power",)),
    Wording("damaged", "hold", ("gear", "worm"), "The {part} is cracked, or short of teeth",
            _OPEN + "turn it by hand and look.", {"none": 1.0, "fair": 1.0, "poor": 1.0, "lumpy": 1.0},
            minutes=6, inside=True, hazards=("power",)),
    Wording("crusted", "surface", ("pinch_roller",), "Tape is wound round, behind or hangs from the {part}",
            _TORCH + "turn the roller by hand and look behind its face too.", {"crusted": 1.0}, minutes=2, hazards=("power", "nip")),
    Wording("off", "surface", ("pinch_roller",), "The {part} hangs loose: nothing presses it on",
            _TORCH + "push the roller towards the capstan: a spring should push back.", {"off": 1.0, "light": 0.4}, sense="feel",
            minutes=2, hazards=("power", "nip")),
    Wording("wobbles", "wobble", ("flywheel", "reel_table", "pulley", "capstan", "pinch_roller"),
            "The {part} wobbles or runs out of true", "Turn it slowly by hand and sight along its rim.", {"yes": 0.8},
            minutes=2, hazards=("power", "nip"), read_at="runs_out:{shaft}"),
    Wording("tight", "drag", ("belt",), "The {part} is drum-tight, or drags like tar on what it drives",
            _OPEN + "pluck it, then turn the driven wheel with and without it.", {"stiff": 1.0, "tight": 1.0}, sense="feel",
            minutes=5, hazards=("power",)),
    Wording("does_not_swing", "swing", ("idler_tyre", "gear_wheel"), "The {part} does not swing over to the reel, or sticks half way",
            _OPEN + "turn what drives it by hand both ways and watch the arm.", {"no": 1.0, "at_times": 0.7}, minutes=5,
            inside=True, hazards=("power",)),
    Wording("loose", "noise", ("flywheel", "capstan"), "The {part} has play along or across its axis, or touches something",
            _OPEN + "push and pull it gently, turn it and look along its edge.", {"yes": 0.9}, sense="feel", minutes=5,
            inside=True, hazards=("power",)),
    Wording("out_of_step", "step", ("cam",), "The marks of the {part} and its gear do not meet",
            _OPEN + "bring it to its rest by hand and look for the marks.", {"out": 0.9}, minutes=8, inside=True,
            hazards=("power",)),
    Wording("springless", "spring", ("head_base",), "The {part} does not spring home when let go",
            _OPEN + "push it up by hand and let go.", {"gone": 1.0}, sense="feel", minutes=5, inside=True, hazards=("power",)),
    Wording("grooved", "signal", ("heads",), "A groove or step is felt across the {part}",
            _TORCH + "draw a fingernail lightly across the face; look with a magnifier.", {"worn": 1.0}, sense="feel",
            minutes=2, inside=False, hazards=("power", "nip")),
    Wording("guides_bent", "guide", ("heads",), "The tape runs up or down in the guides of the {part}, or curls at an edge",
            "Play a sacrificial cassette with a clear shell, look along the tape with a torch.", {"askew": 0.9}, mode="play",
            minutes=4, inside=False, hazards=("tape", "nip")),
    Wording("bench_dead", "sound_path", ("electronics",), "A signal put in at the heads' wires does not come out alike on all channels",
            _OPEN + "by a qualified person: a small tone at each head's wires, compare the outputs.",
            {"one_side": 1.0, "silent": 1.0, "crackles": 0.5}, sense="meter", minutes=25, mode="play", inside=True,
            hazards=("mains", "live", "tone")),
    Wording("stained", "contact", ("control_board",), "Crust, green stains or a leaking cell lie on the {part}",
            _OPEN + "look under the memory cell and the large capacitors.", {"dead": 0.95, "at_times": 0.2}, minutes=4,
            inside=True, hazards=("power", "static")),
    Wording("other_function", "contact", ("control_board",), "A key does what another should, or answers only at a second press",
            "With a sacrificial cassette in, press each key ten times.", {"at_times": 0.7}, mode="cassette_in", minutes=3,
            inside=False, hazards=("tape",)),
    Wording("latch_stuck", "latch", ("lid",), "The latch or link of the {part} does not move freely by hand",
            "Unplugged, tape out or held: work the latch with a blunt stick.", {"stuck": 0.9}, sense="feel", minutes=3,
            inside=False, hazards=("power", "tape")),
)  # fmt: skip

BY_HAND: Final = (
    Wording("dull", "signal", ("heads",), "The sound is dull, low or missing on some tracks",
            "Play a sacrificial cassette known to be bright; listen to each track.",
            {"dull": 1.0, "worn": 1.0, "one_side": 0.9, "crackles": 0.2, "hissy": 0.2}, sense="hear", mode="play", inside=False,
            hazards=("tape", "tone"), read_at="sound@play"),
    Wording("clean_cures", "signal", ("heads",), "Cleaning the {part} brings level and treble back",
            _TORCH + "wipe heads and guides with a damp swab until it stays white, let them dry, listen again.",
            {"dull": 0.9, "worn": 0.1}, sense="hear", minutes=6, inside=False, hazards=("power", "nip", "solvent")),
    Wording("others_dull", "square", ("heads",), "Other machines' tapes sound dull, its own recordings bright",
            "Compare a sacrificial cassette recorded elsewhere with one recorded here.", {"askew": 1.0}, sense="hear",
            mode="play", minutes=6, inside=False, hazards=("tape", "tone")),
    Wording("phase", "square", ("heads",), "A high test tone stands in different phase on the outer tracks",
            "Play 8 to 10 kHz from a test tape, outer tracks against each other on a meter or screen.",
            {"askew": 1.0}, sense="meter", mode="play", minutes=8, inside=False, hazards=("tape", "tone")),
    Wording("stiff", "drag", ("cassette",), "A hub of the {part} is hard to turn with a pencil",
            "Out of the machine: turn each hub with a pencil through a few turns.",
            {"stiff": 0.9, "tight": 1.0, "seized": 1.0}, sense="feel", minutes=2, inside=False, hazards=("tape",)),
    Wording("one_place", "square", ("cassette",), "Pitch or level fails at one place of the {part} and nowhere else",
            "Play that place twice, then a sacrificial cassette.", {"askew": 1.0}, sense="hear", mode="play", minutes=4,
            inside=False, hazards=("tape", "tone")),
    Wording("edge_frilled", "edge", ("cassette",), "An edge of the tape in the {part} is nicked, wavy or frilled",
            "Out of the machine: draw a hand's breadth of tape out under a lamp, look along both edges, wind it back.",
            {"lifts": 1.0}, minutes=2, inside=False, hazards=("tape",)),
    Wording("end_dull", "sheds", ("cassette",), "The {part} grows dull from the start of a side to its end, and wiping the heads cures it",
            _TORCH + "wipe the heads with a damp swab, let them dry; compare the start of a side with its end, then wipe again.",
            {"yes": 1.0}, sense="hear", mode="play", minutes=12, inside=False, hazards=("power", "nip", "solvent", "tape")),
    Wording("old_heard", "erases", ("electronics",), "What was on a tape before is heard under what is recorded over it",
            "Record with the level down over a sacrificial cassette that is loud, then play it.",
            {"badly": 1.0}, sense="hear", mode="play", minutes=5, inside=False, hazards=("tape", "tone")),
    Wording("sheds", "surface", ("cassette",), "Brown dust or gum builds up within minutes of playing the {part}",
            _TORCH + "wipe the guides, play a copy of its tape for five minutes at most, look again.", {"sticky": 1.0},
            minutes=8, inside=False, hazards=("power", "nip", "tape")),
    Wording("squeaks", "noise", ("cassette",), "The {part} squeaks where another cassette runs quietly",
            "Play the cassette of the complaint, or a copy in its shell, then a sacrificial one that is known to be good.",
            {"yes": 1.0}, sense="hear", mode="play", minutes=3, inside=False, hazards=("tape", "tone")),
    Wording("padless", "surface", ("cassette",), "The pressure pad of the {part} is gone or loose",
            "Out of the machine: look into its middle opening.", {"light": 1.0, "gone": 1.0}, minutes=1, inside=False,
            hazards=("tape",)),
    Wording("stiff", "drag", ("pinch_roller",), "The {part} does not spin freely on its pin",
            _TORCH + "flick it: it should coast.", {"stiff": 0.8, "tight": 1.0, "seized": 1.0}, sense="feel", hazards=("power", "nip")),
    Wording("growls", "drag", ("motor",), "The {part} whines or growls, most when cold, less after some minutes",
            "Start from cold; a rod held to the case near the {part}, then again after ten minutes.",
            {"stiff": 1.0, "tight": 1.0, "seized": 0.1}, sense="hear", minutes=12, mode="play", inside=False, hazards=("tape",)),
    Wording("stiff", "drag", ("capstan",), "The {part} is stiff in its bearing",
            _OPEN + "belt off, spin the flywheel: it should coast some seconds.", {"stiff": 0.8, "tight": 1.0, "seized": 1.0},
            sense="feel", minutes=8, inside=True, hazards=("power",)),
    Wording("stiff", "drag", ("reel_table",), "The {part} turns stiffly by hand",
            "Unplugged, no cassette, lid open: turn it with a finger, then its neighbour.",
            {"stiff": 0.8, "tight": 1.0, "seized": 1.0}, sense="feel", minutes=1, inside=False),
    Wording("stiff", "drag", ("cam",), "The {part} is stiff when turned by hand",
            _OPEN + "turn the cam wheel by hand through one lift.", {"stiff": 0.8, "tight": 1.0, "seized": 1.0}, sense="feel",
            minutes=6, inside=True, hazards=("power",)),
    Wording("stiff", "drag", ("head_base",), "The {part} slides stiffly when pushed",
            _OPEN + "with the cam out of the way push it up and let it fall.", {"stiff": 0.8, "tight": 1.0, "seized": 1.0},
            sense="feel", minutes=6, inside=True, hazards=("power",)),
    Wording("stiff", "lever", ("lever",), "The {part} moves stiffly by hand",
            "Unplugged: push it through its way and let its spring bring it back.",
            {"stiff": 0.8, "tight": 1.0, "seized": 1.0}, sense="feel", minutes=5, hazards=("power",)),
    Wording("gone", "lever", ("lever",), "The {part} is bent, snapped or unhooked",
            "Unplugged: follow it from end to end with a torch.", {"gone": 1.0}, minutes=5, hazards=("power",)),
    Wording("sticky", "solenoid", ("solenoid",), "The plunger of the {part} does not slide smoothly",
            _OPEN + "push the plunger in by hand and let it come back.", {"at_times": 1.0, "weak": 0.2}, sense="feel",
            minutes=5, inside=True, hazards=("power", "moving")),
    Wording("dead", "solenoid", ("solenoid",), "The {part} has no continuity, or nothing reaches its coil",
            _OPEN + "discharged, meter on its coil, then on the small resistor that feeds it.",
            {"dead": 1.0}, sense="meter", minutes=12, inside=True, hazards=("power", "static")),
    Wording("weak", "solenoid", ("solenoid",), "The {part} pulls in far above its proper voltage",
            _OPEN + "its wires off, a current-limited supply turned up until it pulls.",
            {"weak": 1.0, "at_times": 0.4, "dead": 1.0}, sense="meter", minutes=10, inside=True,
            hazards=("power", "moving")),
    Wording("rubs", "drag", ("brake",), "The {part} rubs on its reel table when it should be off",
            _OPEN + "lift the brake by hand, turn the hub with and without it.",
            {"stiff": 0.9, "tight": 1.0, "seized": 1.0}, sense="feel", minutes=6, inside=True,
            hazards=("power", "moving")),
    Wording("slack", "brake", ("brake",), "The {part} does not hold its hub with the machine off",
            "Unplugged, no cassette, lid open: turn the hub with a finger.", {"slack": 1.0}, sense="feel", minutes=1,
            inside=False),
    Wording("wakes", "contact", ("cassette_switch", "key_switch"), "The machine wakes when the {part} is worked by hand",
            "Press or flick the lever of the switch a few times with a stick, then try again.",
            {"dead": 0.9, "at_times": 1.0}, mode="cassette_in", minutes=2, inside=False, hazards=("moving",)),
    Wording("no_contact", "contact",
            ("cassette_switch", "key_switch", "record_switch", "position_switch", "pulse_sensor", "tacho", "tray_switch"),
            "The {part} does not report", _OPEN + "meter on its contacts or output while it is worked by hand.",
            {"dead": 1.0, "at_times": 0.7}, sense="meter", minutes=12, inside=True, hazards=("power", "static")),
    Wording("dead", "motor", ("motor",), "The {part} does not run on a bench supply",
            _OPEN + "its wires off, its own voltage from a current-limited supply.", {"dead": 1.0, "at_times": 0.6},
            sense="meter", minutes=10, inside=True, hazards=("power", "moving")),
    Wording("worn", "motor", ("motor",), "The {part} runs weakly or draws too much current unloaded",
            _OPEN + "its belt off, its own voltage from a current-limited supply, read the current.",
            {"weak": 1.0, "uneven": 0.8}, sense="meter", minutes=10, inside=True, hazards=("power", "moving")),
    Wording("no_lamp", "lamps", ("supply",), "Nothing lights and nothing stirs at switch-on",
            "Switch on, look at lamps and display; try the socket with another appliance.", {"dark": 1.0},
            mode="switch_on", minutes=1, inside=False, hazards=("mains",)),
    Wording("feeds_another", "feed", ("supply",), "Another well, or another motor on the same supply, runs as it should",
            "Where the set has another well or motor: run it with a sacrificial cassette.",
            {"good": 0.7, "at_times": 0.4, "low": 0.2}, sense="plain", mode="switch_on", minutes=2, inside=False,
            hazards=("tape",), aside=True),
    Wording("low", "feed", ("supply",), "The motors' supply is low under load",
            "By a qualified person: meter at the motor terminals while winding.", {"low": 1.0, "none": 0.9},
            sense="meter", mode="fast_forward", minutes=10, inside=True, hazards=("mains", "live")),
    Wording("slack", "hold_back", ("drag",), "The supply hub runs on without any hold-back",
            "Unplugged, no cassette: turn the supply hub with a finger and let go.", {"slack": 1.0}, sense="feel",
            minutes=1, inside=False),
    Wording("rubs_too_little", "felt", ("drag",), "What the {part} rubs on turns without any resistance",
            _OPEN + "take the back-tension belt off and turn its far pulley with a finger.", {"slack": 1.0}, sense="feel",
            minutes=5, inside=True, hazards=("power",)),
    Wording("rubs_too_hard", "felt", ("drag",), "What the {part} rubs on turns hard",
            _OPEN + "take the back-tension belt off and turn its far pulley with a finger.", {"hard": 1.0}, sense="feel",
            minutes=5, inside=True, hazards=("power",)),
    Wording("glides_badly", "drag", ("tray",), "The {part} does not glide when its wheel is turned by hand",
            _OPEN + "turn the wheel that moves it by hand through its whole way.",
            {"stiff": 0.8, "tight": 1.0, "seized": 1.0}, sense="feel", minutes=6, inside=True, hazards=("power", "moving")),
    Wording("out_of_step", "step", ("tray",), "The {part} stands askew, or its rack and wheel are a tooth apart",
            _OPEN + "draw it out to its stop by its wheel, compare both sides and the marks.", {"out": 0.9}, minutes=8,
            inside=True, hazards=("power", "moving")),
    Wording("hard", "hold_back", ("drag",), "The supply hub holds back hard",
            "Unplugged, no cassette: turn the supply hub with a finger.", {"hard": 1.0}, sense="feel", minutes=1,
            inside=False),
)  # fmt: skip
