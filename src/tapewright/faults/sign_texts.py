"""How the things a mechanism does are noticed, in a technician's words. What they mean is nowhere said here."""

from collections.abc import Mapping
from dataclasses import dataclass
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
