"""What can hurt the person, the machine or the tape, said where the hand is about to go.

Common practice of the trade: head and path cleaning and demagnetising after US Army TM 32-5835-005-14&P; the rest from
trade pages or from memory. Local law, site rules and licensed practice come first.
"""

from typing import Final

CAUTIONS: Final = {
    "power": "Switch off and pull the plug (or take the batteries out) before a hand goes in.",
    "opening": "Unplug before the case is opened; parts near the mains switch may stay live, so treat stored charge as "
    "present until metered. Photograph the belt's way and every washer first. Local rules come first.",
    "mains": "Mains: leave this to a person licensed for it where local rules ask for one; never on it live, alone.",
    "live": "The case is open and powered: one hand, no rings, no headphones, keep clear of the mains side, somebody "
    "near; if your rules ask for a licensed person, let them do it.",
    "nip": "Keep fingers, hair and swabs out of the nip between capstan and roller; clean on the outgoing side.",
    "moving": "Moving parts: sleeves back, nothing loose near wheels and belts; never force a cam against its stop.",
    "solvent": "Alcohol: damp swab, wipe, let dry, never soak; ventilate, no sparks, power off. No acetone on plastic.",
    "oil": "One drop, then wipe: never on belts, tyres, felts, brake pads, pinch surface, commutator or contacts.",
    "tar": "Nitrile gloves: belt tar stains skin, cloth and finishes for good; pick off first, smear last, bag it.",
    "tape": "Never the owner's tape: a sacrificial cassette only. If it squeals or is drawn in, stop at once; get a "
    "trapped tape out with the power off, turning by hand, never pulling.",
    "tone": "Turn the volume down first; headphones off before a test tone starts.",
    "static": "Strap before touching a logic board; pull ribbon cables straight.",
    "heat": "A hot iron or heat gun near plastic and tape: keep both away, let parts cool.",
    "demagnetiser": "Machine off, every tape a metre away, withdraw slowly before switching the tool off; nobody with "
    "a pacemaker near it.",
}
"""Hazard -> caution. Every hazard that a sign or a repair names is one of these keys."""


def cautions(hazards: tuple[str, ...]) -> tuple[str, ...]:
    """Give the cautions for what the hand meets, in the order given.

    Raises:
        KeyError: for a hazard that has no caution.
    """
    return tuple(CAUTIONS[hazard] for hazard in hazards)
