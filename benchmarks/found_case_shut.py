"""How often the bad part is found with the case shut: one complaint, then at most eight answers of a simulated machine.

Every fault a machine can have is put in alone, at its mildest and its worst, with the catalogue's base rates. The
complaint is the first sign of it that an owner could notice; the answers are what the machine shows. Faults that show
nothing from outside are counted apart. The machine, the faults and the answers are simulated: this measures how well
the reasoning finds its way back through its own mechanism, not how often it is right at a real bench.

Run: python benchmarks/found_case_shut.py [MACHINE ...]
"""

import sys

from tapewright.faults.applied import Fault, applied
from tapewright.faults.catalogue import possible_faults
from tapewright.faults.consequences import signs_shown
from tapewright.jobs.ask import Conversation
from tapewright.machine.library import shipped
from tapewright.machine.parts import Machine
from tapewright.words.evidence import Evidence, Observation

ANSWERS = 8
MACHINES = ("four_track", "four_track_starter", "one_motor_portable")


def outside_complaint(machine: Machine, fault: Fault) -> str | None:
    """Give a sign of the fault that an owner could notice: in a mode, case shut, the tape's before a part's."""
    usual = {sign.id for sign in signs_shown(machine)}
    new = [s for s in signs_shown(applied(machine, [fault])) if s.id not in usual]
    outside = [s for s in new if not s.opens_case and s.mode != "off"]
    return min(outside, key=lambda sign: bool(sign.part)).id if outside else None


def place_of(machine: Machine, fault: Fault, complaint: str) -> int:
    """Give the place of the bad part among the suspects after the answers, from 1."""
    shown = {sign.id for sign in signs_shown(applied(machine, [fault]))}
    talk = Conversation(machine, Evidence((Observation(complaint, True),)))
    for _ in range(ANSWERS):
        check = talk.now().next_check
        if check is None or check.opens_case:
            break
        talk.say(check.id, check.id in shown)
    return 1 + [belief.part for belief in talk.now().beliefs].index(fault.part)


def main() -> None:
    print(f"{'machine':28s} faults  nothing outside  first  among three   (of those that show)")
    for name in sys.argv[1:] or MACHINES:
        machine = shipped(name)
        places, silent = [], 0
        for possible in possible_faults(machine):
            for severity in sorted({min(possible.fault.severities, key=abs), max(possible.fault.severities)}):
                fault = Fault(possible.part, possible.fault.kind, severity)
                complaint = outside_complaint(machine, fault)
                if complaint is None:
                    silent += 1
                else:
                    places.append(place_of(machine, fault, complaint))
        first, third = sum(p == 1 for p in places), sum(p <= 3 for p in places)
        count = len(places)
        print(
            f"{name:28s} {count + silent:6d} {silent:16d} {first / count:6.0%} {third / count:12.0%}   ({count})",
            flush=True,
        )


if __name__ == "__main__":
    main()
