"""What the hand is told to do names its hazard, and the hazard its caution: read from the words themselves.

The rules below are common practice of the trade: they read how a check is made and how a fault is mended, and ask for
the hazard that such words bring with them. A new text that says "one drop of oil" without the caution for oil fails
here, whoever writes it.
"""

import re

import pytest

from tapewright.faults.applied import fault_kind
from tapewright.faults.catalogue import possible_faults
from tapewright.faults.cautions import CAUTIONS, cautions
from tapewright.faults.mechanism import mechanism
from tapewright.faults.signs import signs
from tapewright.machine.library import shipped, shipped_ids

BRINGS = [
    (r"\bunplug|\bplug\b", {"power", "opening"}, ("plug",)),
    (r"\bopened\b|\bcover off\b|\bcase (must be )?open\b", {"opening", "live"}, ("plug", "case is open")),
    (r"\bcover off\b.*(motor|runs|rim|change of mode)", {"live"}, ("powered",)),
    (r"\bdamp\b|\balcohol\b|\bdegrease|contact cleaner|\bwhite swab\b|\bsolvent\b|\bwash\b", {"solvent"}, ("Alcohol",)),
    (r"\b(drop of oil|oil (it|its|the)|one drop|small drop)\b", {"oil"}, ("One drop",)),
    (r"\bsolder|\biron\b|\bheat gun|\bhot air|\bbak(e|ing)\b", {"heat"}, ("hot",)),
    (r"demagneti", {"demagnetiser"}, ("pacemaker",)),
    (r"\btest tone\b|\bkHz\b|\bheld note\b|\bhigh note\b", {"tone"}, ("volume",)),
    (r"\bpick the tar\b|\btar\b|\bgone soft\b", {"tar"}, ("gloves",)),
    (r"\b(hold|touch) the hub\b|\bfinger on the rim\b|\bspring scale until it stops\b", {"moving"}, ("sleeves",)),
    (r"\bfuse|\bfusible\b|\bmains (cord|plug|voltage)", {"mains"}, ("licensed",)),
    (r"\bcapacitors?\b", {"mains", "opening"}, ("licensed", "stored charge")),
    (r"(renew|off).*(capacitor|driver|joint|leaking part)|bridge the|open tracks?\b", {"heat"}, ("hot",)),
    (r"\blogic board\b|\bribbon cable", {"static"}, ("Strap",)),
    (r"\bsacrificial\b", {"tape"}, ("owner's tape",)),
    (r"torch into the well.*(touch|swab|wipe|flick|turn)", {"nip"}, ("nip",)),
]  # fmt: skip
"""Words, as a pattern -> hazards one of which they bring with them, and what one of their cautions must say."""
BY_PART = {"pinch_roller": {"nip"}, "capstan": {"nip", "opening"}}
"""Kind of rotor -> hazards one of which mending it brings with it."""


def lacking(text: str, hazards: tuple[str, ...]) -> list[str]:
    """Name the patterns whose hazard is not named, or whose caution is not said."""
    said = " ".join(cautions(hazards))
    found = []
    for pattern, wanted, words in BRINGS:
        if re.search(pattern, text, re.IGNORECASE):
            if not wanted & set(hazards):
                found.append(f"{pattern} wants {sorted(wanted)}, has {hazards}: {text}")
            elif not any(word in said for word in words):
                found.append(f"{pattern}: the caution does not say {words}: {text}")
    return found


@pytest.mark.parametrize("machine_id", shipped_ids())
def test_every_check_names_the_hazards_of_its_own_words(machine_id: str) -> None:
    found = mechanism(shipped(machine_id))
    assert [lack for sign in signs(found) for lack in lacking(sign.how, sign.hazards)] == []


@pytest.mark.parametrize("machine_id", shipped_ids())
def test_every_repair_names_the_hazards_of_its_own_words(machine_id: str) -> None:
    machine = shipped(machine_id)
    lacks = []
    for possible in possible_faults(machine):
        fault = fault_kind(machine, possible.part, possible.fault.kind)
        lacks += lacking(fault.mend, fault.hazards)
        kind = machine.rotors[possible.part].kind if possible.part in machine.rotors else ""
        if kind in BY_PART and not BY_PART[kind] & set(fault.hazards):
            lacks.append(f"{possible.part}={fault.kind} wants {sorted(BY_PART[kind])}, has {fault.hazards}")
    assert lacks == []


def test_every_hazard_that_can_hurt_is_looked_for_in_the_words() -> None:
    assert set(CAUTIONS) - {"power"} <= set().union(*(wanted for _, wanted, _ in BRINGS))


@pytest.mark.parametrize(
    ("text", "hazards"),
    [
        ("One drop of oil at the bush.", ("opening",)),
        ("Wipe it with a damp swab.", ("power",)),
        ("Cover off; finger on the rim in play.", ("opening",)),
        ("Solder the joint again.", ("opening",)),
        ("Demagnetise the heads.", ("power",)),
        ("Play 8 kHz from a test tape.", ("tape",)),
        ("Unplugged, lid open, torch into the well: touch it.", ("power",)),
        ("Play a sacrificial cassette.", ()),
    ],
)
def test_a_text_without_its_hazard_would_be_seen(text: str, hazards: tuple[str, ...]) -> None:
    assert lacking(text, hazards)
