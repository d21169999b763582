"""How the things a mechanism does are noticed, in a technician's words. What they mean is nowhere said here."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from tapewright.machine.parts import Machine


@dataclass(frozen=True, slots=True)
class Template:
    """How one word of one kind of node is noticed, for every rotor and mode that has such a node.

    Arguments:
        id: last part of the sign's id.
        about: stem of the node's name.
        says, how: with {part}, {mode} and {key} to fill in.
        words: share of its sense's hit rate, for each word of the node that shows it.
        sense: "plain" (nobody mistakes it), "see", "hear", "feel" or "meter".
        minutes: hands-on time.
        modes: only in these modes; empty for all.
        winding: only in modes that wind (True) or do not (False); None for both.
        kinds: only for shafts that carry a rotor of these kinds; the sign is named after that rotor.
        role: "takes_up" or "gives": only for that reel.
        names_part: whether the part is in the sign's id.
        needs_sight: whether one has to see the rotor itself, which may want the case open.
        inside: whether the case must be open in any event.
        hazards: what the hand meets there.
        risk_minutes: harm it may do, in minutes of work.
    """

    id: str
    about: str
    says: str
    how: str
    words: Mapping[str, float]
    sense: str = "see"
    minutes: float = 2.0
    modes: tuple[str, ...] = ()
    winding: bool | None = None
    kinds: tuple[str, ...] = ()
    role: str = ""
    names_part: bool = True
    needs_sight: bool = False
    inside: bool = False
    hazards: tuple[str, ...] = ("tape",)
    risk_minutes: float = 0.0

    def named_for(self, machine: Machine, subject: str) -> str:
        """Name the rotor a sign about a shaft is told by: the one of the wanted kind on it."""
        for rotor in machine.rotors.values():
            if rotor.kind in self.kinds and subject in (rotor.name, rotor.on):
                return rotor.name
        return subject


@dataclass(frozen=True, slots=True)
class Wording:
    """How one word of a part's own condition is noticed.

    Arguments:
        id, about, says, how, words, sense, minutes, hazards: as for `Template`.
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


_RUN = "With a sacrificial cassette in, press {key} and watch the reels through the window"
_UP, _DOWN = ("play", "reverse_play", "record"), ("switch_on", "stop")
_SHUT = ("stop", "cassette_in", "idle")
_IN = (
    "Without a cassette, then with a sacrificial one: five times press the key that closes the tray; watch and listen."
)
_OUT = "Press stop, then the key that opens the tray; watch and listen;"

FLATLY: Final = 0.3
"""How often what fails at some tries and not at others is told as failing, flat: whoever tries again says more."""

IN_MODE: Final = (
    # --- the tape in play
    Template("tape_races", "tape", "In play the reels race as in fast winding; the sound is a high gabble or absent",
             _RUN + "; compare with fast forward.", {"races": 1.0, "fast": 0.1}, sense="plain", winding=False),
    Template("tape_still", "tape", "After {key} is pressed the tape does not move",
             _RUN + "; say what moved in the first second.", {"still": 1.0, "at_times": FLATLY}, sense="plain", winding=False),
    Template("tape_slow", "tape", "The sound is low and dragging: the tape runs slow", _RUN + " and listen.",
             {"slow": 1.0, "uneven": 0.35}, sense="hear", minutes=3, winding=False, hazards=("tape", "tone")),
    Template("tape_fast", "tape", "The sound is a little too high: the tape runs fast", _RUN + " and listen.",
             {"fast": 1.0, "races": 0.3}, sense="hear", minutes=3, winding=False, hazards=("tape", "tone")),
    Template("tape_uneven", "tape", "The pitch wavers or surges", _RUN + " and listen to a held note.",
             {"uneven": 1.0, "at_times": 0.3, "slow": 0.25}, sense="hear", minutes=3, winding=False,
             hazards=("tape", "tone")),
    Template("tape_right", "tape", "The tape plays at the right pitch and steadily", _RUN + " and listen.",
             {"right": 1.0, "fast": 0.15, "slow": 0.1}, sense="hear", minutes=3, winding=False,
             hazards=("tape", "tone")),
    Template("tape_at_times", "tape", "{key} starts at some tries and not at others", "Try ten times, count the misses.",
             {"at_times": 1.0}, minutes=4, winding=False),
    Template("loop", "loop", "A loop of tape forms between pinch roller and take-up reel",
             _RUN + " and the gap beside the pinch roller; stop at the first slack.", {"yes": 1.0, "at_times": 0.5}, sense="plain",
             hazards=("tape", "nip"), risk_minutes=2),
    Template("oxide", "oxide", "Oxide is rubbed or pulled off the tape",
             "Play a sacrificial cassette for a minute, then look at the tape and for brown dust below the roller.",
             {"yes": 1.0}, sense="plain", minutes=4, hazards=("tape", "nip"), risk_minutes=2),
    Template("wrap", "wrap", "Tape is carried round the pinch roller or the capstan",
             _RUN + " and the roller; stop at once when the tape is drawn in.", {"yes": 1.0, "at_times": 0.6}, sense="plain",
             hazards=("tape", "nip"), risk_minutes=4),
    Template("starts_slowly", "reserve", "The {part} takes several seconds to bring the tape to its pitch",
             "From rest, with a sacrificial cassette of one held note: count the seconds until the pitch stands still.",
             {"little": 1.0, "short": 0.5}, sense="hear", minutes=3, kinds=("capstan",), hazards=("tape", "tone")),
    Template("sags", "reserve", "The pitch sags at the {part} when the load grows, as towards the end of a side",
             "Play start, middle and end of a sacrificial cassette; compare the pitch of one note.",
             {"little": 1.0, "short": 0.6}, sense="hear", minutes=6, kinds=("capstan",), hazards=("tape", "tone")),
    Template("only_this_cassette", "only_this", "{mode} one cassette is slow or stops where another runs well",
             "Play the cassette of the complaint, or a copy in its shell, and a sacrificial one that is known to be good.",
             {"yes": 1.0}, sense="plain", minutes=3, modes=("play",)),
    Template("pack_loose", "pack", "The take-up pack is loose and the tape weaves",
             "Play three minutes and look at the pack through the window.", {"yes": 1.0, "at_times": 0.4}, minutes=4),
    Template("level_flutters", "head_loop", "The level flutters and the treble comes and goes",
             _RUN + " and listen to a steady high note.", {"slack": 1.0, "at_times": 0.6}, sense="hear", minutes=3,
             hazards=("tape", "tone")),
    Template("edge", "edge", "One edge of the tape is creased or wavy after playing",
             "Play a sacrificial cassette for three minutes, then look along the tape's edge.",
             {"yes": 1.0, "at_times": 0.4}, minutes=5,
             risk_minutes=1),
    Template("overruns", "overruns", "A loop of tape is thrown when fast winding is stopped",
             "Wind a sacrificial cassette with a clear shell for half a minute, press stop and look.",
             {"yes": 1.0, "at_times": 0.5}, minutes=3, risk_minutes=1),
    Template("does_not_engage", "engages", "Record does not come in though the cassette's tabs are whole",
             "With a sacrificial cassette with both tabs in, press record; compare with play.",
             {"no": 1.0, "at_times": FLATLY}, sense="plain", modes=("record",), names_part=False),
    # --- the tape in winding
    Template("weak", "tape", "{key} is weak, slow or uneven", _RUN + " for half a minute.",
             {"weak": 1.0, "slow": 0.85, "uneven": 0.9, "at_times": 0.4, "still": 0.25}, winding=True),
    Template("dead", "tape", "{key} does not wind at all", _RUN + ".",
             {"still": 1.0, "at_times": FLATLY, "weak": 0.15}, sense="plain", winding=True),
    # --- what turns
    Template("still", "turns", "The {part} does not turn {mode}",
             "Look into the well with a torch at the shaft, {mode}.", {"still": 1.0, "loose": 1.0, "at_times": FLATLY},
             modes=("switch_on", "cassette_in", "play", "reverse_play"), kinds=("capstan",), needs_sight=True, hazards=("nip",)),
    Template("falters", "turns", "The {part} turns slowly, weakly or in starts {mode}", _RUN + ".",
             {"weak": 1.0, "uneven": 0.8, "slow": 0.6, "at_times": 0.6, "still": 0.1, "loose": 0.15}, modes=_UP,
             role="takes_up", kinds=("reel_table",)),
    Template("stands", "turns", "The {part} does not turn at all {mode}", _RUN + ".",
             {"still": 1.0, "loose": 1.0, "at_times": FLATLY, "weak": 0.15}, modes=_UP, role="takes_up",
             kinds=("reel_table",)),
    Template("gives_way", "turns", "The {part} stops under the lightest finger {mode}",
             "With a sacrificial cassette in and the lid open, touch the hub lightly {mode}.",
             {"weak": 1.0, "still": 0.9, "loose": 1.0, "uneven": 0.3}, sense="feel", modes=_UP, role="takes_up",
             kinds=("reel_table",), hazards=("tape", "nip", "moving")),
    Template("pulls_hard", "turns", "The {part} pulls so hard that a finger hardly stops it {mode}",
             "With a sacrificial cassette in and the lid open, hold the hub {mode}.", {"hard": 1.0}, sense="feel",
             modes=_UP, role="takes_up", kinds=("reel_table",), hazards=("tape", "nip", "moving")),
    Template("right_while_slack", "turns", "With slack before the {part} the pitch is right for a second, then it is not",
             "Take 3 to 5 cm of slack out of a sacrificial cassette with a pencil, press {key}, listen to the first second.",
             {"hard": 1.0}, sense="hear", minutes=2, modes=_UP, role="takes_up", kinds=("reel_table",),
             hazards=("tape", "tone")),
    Template("hesitates", "turns", "The {part} hesitates or goes on in starts {mode}", "Watch the {part} for a minute {mode}.",
             {"weak": 1.0, "uneven": 1.0, "at_times": 0.8}, modes=("play", "fast_forward", "rewind"), kinds=("counter",),
             needs_sight=True),
    Template("still", "turns", "The {part} stands still {mode}", "Watch the {part} for half a minute {mode}.",
             {"still": 1.0, "loose": 1.0, "at_times": FLATLY, "weak": 0.3}, modes=("play", "fast_forward", "rewind"),
             kinds=("counter",), needs_sight=True),
    Template("slips", "turns", "The {part} stops under a light finger while its motor goes on {mode}",
             "Cover off, gloved finger on the rim {mode}.", {"weak": 1.0, "loose": 1.0, "still": 0.3, "uneven": 0.5},
             sense="feel", minutes=5, modes=("cassette_in", "play"), kinds=("flywheel",), inside=True,
             hazards=("moving", "live")),
    Template("stands", "turns", "The {part} stands while its motor runs {mode}",
             "Cover off; ink dots on motor pulley and {part}, then one change of mode.",
             {"still": 0.3, "loose": 1.0, "weak": 0.7}, minutes=5, modes=("switch_on", "play"), kinds=("cam",),
             inside=True, hazards=("moving", "live")),
    # --- the head base
    Template("stays_down", "head_base", "The head base does not rise {mode}",
             "Lid open, look at the heads while {key} is pressed.", {"stays": 1.0, "part": 0.3, "at_times": FLATLY}, sense="plain",
             modes=_UP, names_part=False),
    Template("rises_part_way", "head_base", "The head base rises part of the way and stops {mode}",
             "Lid open, look at the heads while {key} is pressed.", {"part": 1.0, "late": 0.1, "stays": 0.1},
             modes=_UP, names_part=False),
    Template("rises_late", "head_base", "The head base rises slowly or in jerks {mode}",
             "Lid open, time the rise: it should take under a second.", {"late": 1.0, "part": 0.4}, modes=_UP,
             names_part=False),
    Template("holds_when_helped", "helped", "The head base fails to arrive {mode} by itself and holds when helped up gently",
             "With a sacrificial cassette in and the lid open, lift the head base with a blunt stick while {key} is pressed; "
             "let go if it resists.", {"yes": 1.0}, minutes=3, modes=_UP, names_part=False,
             hazards=("tape", "nip", "moving"), risk_minutes=1),
    Template("falls_back", "reported", "{key} cancels itself after some seconds", "Press {key}, count the seconds.",
             {"no": 1.0, "at_times": 0.6}, sense="plain", modes=_UP, names_part=False),
    Template("does_not_drop", "head_base", "The head base does not drop {mode}",
             "Lid open, look at the heads {mode}.", {"stays": 1.0, "part": 0.8, "at_times": FLATLY}, sense="plain", modes=_DOWN,
             names_part=False),
    # --- what comes and goes
    Template("only_late", "late", "{mode} all goes well at the start of a side and falters towards its end",
             "Run a sacrificial cassette {mode} from its start, then from near its end; compare.", {"yes": 1.0}, minutes=5),
    Template("right_when_warm", "warming", "The tape falters from cold and comes right after some tries or minutes {mode}",
             _RUN + " from cold and again after ten minutes.", {"eases": 1.0}, minutes=12, modes=("play", "reverse_play")),
    Template("fails_when_warm", "warming", "The tape is right at first, then slows, falters or stops after some minutes {mode}",
             _RUN + " for twenty minutes.", {"worsens": 1.0}, minutes=8, modes=("play", "reverse_play")),
    Template("stops_when_warm", "later_stops", "The machine stops by itself only after some minutes {mode}",
             _RUN + " for twenty minutes.", {"yes": 1.0, "at_times": 0.7}, minutes=8, modes=("play", "reverse_play")),
    Template("slow_when_warm", "later_tape", "Only after some minutes {mode} the sound is low and dragging",
             _RUN + " for twenty minutes.", {"slow": 1.0, "uneven": 0.5}, sense="hear", minutes=8,
             modes=("play", "reverse_play"), hazards=("tape", "tone")),
    Template("uneven_when_warm", "later_tape", "Only after some minutes {mode} the pitch wavers or surges",
             _RUN + " for twenty minutes.", {"uneven": 1.0, "at_times": 0.3, "slow": 0.25}, sense="hear", minutes=8,
             modes=("play", "reverse_play"), hazards=("tape", "tone")),
    Template("lifts_when_warm", "warming_base", "The head base fails at the first tries from cold and comes up later {mode}",
             "From cold: press {key} three times with the lid open, then again after ten minutes.", {"eases": 1.0},
             minutes=6, modes=("play", "reverse_play")),
    Template("wavers_regularly", "waver", "The pitch wavers evenly, in step with something that turns",
             _RUN + " and listen to a held note; beat time to the waver.", {"regular": 1.0, "irregular": 0.1},
             sense="hear", minutes=3, modes=("play", "reverse_play"), hazards=("tape", "tone")),
    Template("wavers_at_random", "waver", "The pitch wanders without any beat", _RUN + " and listen to a held note.",
             {"irregular": 1.0, "regular": 0.15}, sense="hear", minutes=3, modes=("play", "reverse_play"),
             hazards=("tape", "tone")),
    # --- what is heard of no known place, what is heard off the tape
    Template("squeak", "squeal", "A squeak, squeal or chirp is heard {mode}", _RUN + " and listen.",
             {"yes": 1.0, "at_times": 0.5}, sense="hear", minutes=1),
    Template("noise", "noise", "A rubbing, clicking or rasping noise is heard {mode}", _RUN + " and listen at the case.",
             {"yes": 1.0}, sense="hear", minutes=1),
    Template("eaten", "eaten", "Tape is eaten, creased or spilled {mode}", _RUN + "; stop at the first slack.",
             {"yes": 1.0, "at_times": 0.5}, sense="plain", minutes=2, modes=("play", "reverse_play"), hazards=("tape", "nip"),
             risk_minutes=3),
    Template("one_channel", "sound", "One channel or track is silent or much weaker than the others",
             "Play a sacrificial cassette that is known to be good; listen to each track.", {"one_side": 1.0, "dull": 0.25},
             sense="hear", modes=("play",), hazards=("tape", "tone")),
    Template("crackles", "sound", "The sound crackles or cuts out while the tape runs",
             "Play a sacrificial cassette; work the record/play switch and the controls a few times.", {"crackles": 1.0, "one_side": 0.1},
             sense="hear", modes=("play",), hazards=("tape", "tone")),
    Template("no_sound", "sound", "No sound comes though the tape runs", "Play a sacrificial cassette that is known to be good.",
             {"silent": 1.0}, sense="plain", modes=("play",), hazards=("tape", "tone")),
    Template("dull", "sound", "The sound is dull or lacks level", "Play a sacrificial cassette known to be bright; listen.",
             {"dull": 1.0, "one_side": 0.2, "hissy": 0.2}, sense="hear", modes=("play",), hazards=("tape", "tone")),
    Template("hisses", "sound", "Hiss or hum stands out in the pauses, more than it used to",
             "Play a sacrificial cassette with a pause on it; listen to each track.", {"hissy": 1.0, "one_side": 0.3, "crackles": 0.3},
             sense="hear", modes=("play",), hazards=("tape", "tone")),
    Template("outer_dull", "outer", "An outer track is dull or drops out while the inner ones are clear",
             "Play a sacrificial cassette known to be bright; listen to each track by itself, the outermost first.",
             {"dull": 1.0, "at_times": 0.6, "perhaps": 0.5}, sense="hear", minutes=4, modes=("play",), hazards=("tape", "tone")),
    Template("treble_swings", "sways_with", "The treble comes and goes with each turn of the {part}",
             "Play a sacrificial cassette known to be bright, all tracks summed to one; count the swells against the turns "
             "of the {part}.", {"yes": 1.0}, sense="hear", minutes=4, modes=("play",),
             kinds=("pinch_roller", "reel_table", "capstan"), hazards=("tape", "tone")),
    # --- keys, lid, roller, brakes
    Template("keys_dead", "answers", "No key is answered though lamps light and a cassette is in",
             "With a sacrificial cassette in, press each key; watch lamps, listen for a click or a motor.",
             {"no": 1.0, "at_times": FLATLY}, sense="plain", minutes=1, modes=("cassette_in",), names_part=False),
    Template("stays_shut", "lid", "The lid does not open and the cassette stays held {mode}",
             "Press stop, then open the lid with a light hand; never prise it while a tape is in.", {"stuck": 1.0}, sense="plain",
             minutes=1, modes=_SHUT, hazards=("tape", "nip")),
    Template("flies_open", "lid", "The lid flies open with a bang", "Open the lid {mode}.", {"flies": 1.0}, minutes=1,
             modes=_SHUT, hazards=("tape",)),
    Template("stays_in", "lid", "The tray does not come out and the cassette stays held", _OUT + " never pull at it.",
             {"stuck": 1.0, "at_times": 0.5}, sense="plain", minutes=1, modes=("open_tray",), hazards=("tape", "moving")),
    Template("comes_part_way", "lid", "The tray comes out only part of the way", _OUT + " never pull at it.",
             {"part": 1.0, "at_times": 0.4, "late": 0.1}, minutes=1, modes=("open_tray",), hazards=("tape", "moving")),
    Template("comes_late", "lid", "The tray comes out slowly or in jerks", _OUT + " count the seconds.",
             {"late": 1.0, "part": 0.3, "at_times": 0.3}, minutes=1, modes=("open_tray",), hazards=("tape", "moving")),
    Template("stays_out", "tray", "The tray does not go in", _IN, {"stays": 1.0, "at_times": 0.3}, sense="plain",
             minutes=1, modes=("close_tray",), names_part=False, hazards=("tape", "moving")),
    Template("stops_short", "tray", "The tray goes in only part of the way, or stops short of its end", _IN,
             {"part": 1.0, "at_times": 0.5, "late": 0.1}, minutes=1, modes=("close_tray",), names_part=False,
             hazards=("tape", "moving")),
    Template("goes_late", "tray", "The tray goes in slowly or in jerks", _IN, {"late": 1.0, "part": 0.3, "at_times": 0.3},
             minutes=1, modes=("close_tray",), names_part=False, hazards=("tape", "moving")),
    Template("returns", "returns", "The tray goes in and comes out again by itself", _IN, {"yes": 1.0, "at_times": 0.7},
             sense="plain", minutes=2, modes=("close_tray",), names_part=False, hazards=("tape", "moving")),
    Template("stays_when_helped", "pushed", "The tray fails to go in by itself and stays when it is helped by a light push",
             _IN + " Help its last part with one finger on its front; let go if it resists.", {"yes": 1.0}, sense="feel",
             modes=("close_tray",), names_part=False, hazards=("tape", "moving"), risk_minutes=1),
    Template("runs_loose", "holds", "The {part} gives a light finger no resistance {mode}, and the tape before it hangs slack",
             "With a sacrificial cassette in and the lid open, touch the hub lightly {mode}.", {"slack": 1.0}, sense="feel",
             modes=_UP, role="gives", kinds=("reel_table",), hazards=("tape", "nip", "moving")),
    Template("holds_hard", "holds", "The {part} holds back hard {mode}",
             "With a sacrificial cassette in and the lid open, turn the hub on with a light finger {mode}.", {"hard": 1.0},
             sense="feel", modes=_UP, role="gives", kinds=("reel_table",), hazards=("tape", "nip", "moving")),
    Template("stays_apart", "comes", "The {part} does not come up to the capstan, or only part way, {mode}",
             "Lid open, look at the roller beside the capstan while {key} is pressed.", {"apart": 1.0, "at_times": FLATLY},
             modes=_UP, kinds=("pinch_roller",), hazards=("nip", "moving")),
    Template("turns_by_fits", "rolls", "The {part} stands or turns by fits {mode}",
             "Look at the roller through the well {mode}, fingers away.", {"stands": 1.0, "by_fits": 1.0}, modes=_UP,
             kinds=("pinch_roller",), hazards=("tape", "nip")),
    Template("coasts", "coasts", "The {part} runs on for turns when fast winding is stopped",
             "Wind a sacrificial cassette for half a minute, press stop, watch each reel.", {"yes": 1.0}, minutes=2,
             kinds=("reel_table",)),
    Template("starts_and_stops", "cut", "The {part} starts and stops again at once {mode}", "Ear to the case {mode}.",
             {"stops": 0.6, "at_times": 0.6, "labours": 0.15}, sense="hear"),
    # --- what is heard
    Template("heard", "sounds", "The {part} is heard {mode}", "Ear to the case, or a rod held to it, {mode}.",
             {"normal": 1.0, "races": 1.0, "labours": 1.0, "at_times": 0.5}, sense="hear"),
    Template("races", "sounds", "The {part} is heard racing {mode}, higher than it should",
             "Ear to the case {mode}; compare with how it sounded when it worked, or with its sister.", {"races": 1.0},
             sense="hear"),
    Template("labours", "sounds", "The {part} is heard labouring {mode}", "Ear to the case {mode}.",
             {"labours": 1.0}, sense="hear"),
    Template("goes_on", "runs_on", "The {part} goes on running {mode} long after it should have stopped",
             "Count the seconds the whirr lasts {mode}.", {"yes": 1.0, "at_times": 0.5}, sense="hear"),
    Template("no_click", "pulls", "No click is heard from the {part} {mode}",
             "Ear to the case {mode}: a solenoid that pulls is heard as one click.",
             {"no": 1.0, "at_times": FLATLY, "weak": 0.3}, sense="hear"),
    Template("nothing_starts", "starts", "No motor is heard to start {mode}", "Ear to the case {mode}.",
             {"no": 1.0, "at_times": FLATLY}, sense="hear", modes=("switch_on", "cassette_in")),
    Template("squeals", "rubs", "A squeal or chirp comes from the {part} {mode}",
             "Listen for half a minute {mode}, a tube or rod to the ear.", {"yes": 1.0, "at_times": 0.6}, sense="hear",
             kinds=("capstan", "reel_table", "idler_tyre")),
    Template("stops", "stops", "The machine starts and stops by itself after some seconds {mode}",
             "Press {key}, count the seconds until it stops, say what moved.", {"yes": 1.0, "at_times": 0.7}, minutes=3),
)  # fmt: skip

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
