"""What a guided minute can reveal, and how often it alone puts the part at fault first.

The list comes first and is kept beside this file; a test works it out anew. The score puts in every single fault of
every machine, in every degree, draws what an ear and eye of the stated quality would give of the minute, and asks the
beliefs. The machines, their faults and the senses are simulated: no real machine is among them.

Run: python -m benchmarks.guided_minute [--write] [--draws N] [--simulated N [--seed N] [--of-all]] [MACHINE ...]
"""

import argparse
import csv
import io
import tempfile
from collections.abc import Iterable, Iterator, Sequence
from functools import cache, partial
from multiprocessing import get_context
from pathlib import Path

from benchmarks.guided_minute_simulated import Tried, sampled, tried
from benchmarks.guided_minute_told import report
from tapewright.faults.applied import Fault
from tapewright.faults.mechanism import mechanism
from tapewright.faults.signs import Sign, signs
from tapewright.jobs.guided_minute import Revealed, what_it_reveals
from tapewright.jobs.guided_minute_score import FALSE_ALARMS, HITS, SENSES, Scored, scored, suspected_though_sound
from tapewright.machine.library import shipped, shipped_ids
from tapewright.machine.parts import Machine, spoken
from tapewright.words.whole_file import write_whole

HERE = Path(__file__).parent
LIST = HERE / "guided_minute_reveals.csv"
PAGE = HERE.parent / "docs" / "guided-minute.md"
MACHINES = tuple(name for name in shipped_ids() if not name.endswith("_starter"))
COLUMNS = ("machine", "part", "kind", "degree", "base_rate", "told_apart", "alike", "shows")

REASONS = (
    ("hand", "it is seen or felt only by a hand or a torch in the well, the machine off"),
    ("off the tape", "it is heard only in the sound that comes off a tape"),
    ("warm", "it comes only after minutes of running"),
    ("late", "it comes only near the end of a side, or with a cassette that is hard to turn"),
    ("while running", "it is noticed with the case shut in another way: a finger on a reel, a longer run, another key"),
    ("open", "the case must be open"),
    ("told", "only what the owner tells of how it came speaks of it"),
    ("nothing", "it changes nothing that anybody would notice"),
)


@cache
def _revealed(name: str) -> tuple[Revealed, ...]:
    return what_it_reveals(shipped(name))


def list_text(names: Iterable[str] = MACHINES) -> str:
    """Write the list of faults that show, as CSV."""
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    table.writerow(COLUMNS)
    for name in names:
        for one in _revealed(name):
            if one.shows:
                fault = one.fault
                row = (name, fault.part, fault.kind, f"{fault.severity:g}", f"{one.base_rate:.4g}")
                table.writerow((*row, int(one.told_apart), " ".join(one.alike), " ".join(one.shows)))
    return out.getvalue()


# --- the page ---------------------------------------------------------------------------------------------------------


def page_text(names: Iterable[str] = MACHINES) -> str:
    """Write the manual's page from the same computation."""
    head = PAGE.read_text(encoding="utf-8").partition(MADE)[0] if PAGE.exists() else "# The guided minute\n\n"
    listed = list(names)
    told = [*_in_all(listed), *(line for name in listed for line in _of_machine(shipped(name)))]
    return f"{head}{MADE}\n\n" + "\n".join(told).rstrip() + "\n"


MADE = "<!-- From here on written by: python -m benchmarks.guided_minute --write -->"


def _in_all(names: Sequence[str]) -> Iterator[str]:
    """Say how many show on each layout, and why the others do not."""
    yield "## What it cannot reveal, and why\n"
    yield "Faults, each degree counted.\n"
    yield "| layout | all | shown | told apart | not shown |\n| --- | --- | --- | --- | --- |"
    reasons: dict[str, int] = {}
    for name in names:
        found = _revealed(name)
        by_id = {sign.id: sign for sign in signs(mechanism(shipped(name)))}
        hidden = [one for one in found if not one.shows]
        for one in hidden:
            reason = _why_not(one, by_id)
            reasons[reason] = reasons.get(reason, 0) + 1
        shown, apart = len(found) - len(hidden), sum(one.told_apart for one in found)
        yield f"| `{name}` | {len(found)} | {shown} | {apart} | {len(hidden)} |"
    yield "\nOf those not shown, over all layouts:\n"
    yield from (f"- {reasons[reason]}: {says};" for reason, says in REASONS if reason in reasons)
    yield "\nThe easiest way in which each is noticed at all counts. What shows, but just like another part's fault,"
    yield "stands in a group under its layout: the minute says that one of the group is bad, and not which.\n"


def _of_machine(machine: Machine) -> Iterator[str]:
    found = _revealed(machine.id)
    shown = [one for one in found if one.shows]
    apart = [one for one in found if one.told_apart]
    yield f"## What it reveals of `{machine.id}`\n"
    yield f"{len(found)} faults, each degree counted: {len(shown)} show, {len(apart)} of them like nothing else.\n"
    yield "**Told apart from everything else**\n"
    yield from _by_part(machine, apart)
    yield "**Shown, but just like a fault of another part**\n"
    yield from _groups(machine, shown)
    yield "**Not shown**\n"
    by_id = {sign.id: sign for sign in signs(mechanism(machine))}
    for reason, says in REASONS:
        hidden = [one for one in found if not one.shows and _why_not(one, by_id) == reason]
        if hidden:
            yield f"Because {says}:\n"
            yield from _by_part(machine, hidden)


def _by_part(machine: Machine, found: Sequence[Revealed]) -> Iterator[str]:
    parts = list(dict.fromkeys(one.fault.part for one in found))
    for part in parts:
        own = [one for one in found if one.fault.part == part]
        yield f"- {spoken(machine, part)}: {', '.join(_kinds(own))}"
    yield ""


def _kinds(own: Sequence[Revealed]) -> list[str]:
    kinds = list(dict.fromkeys(one.fault.kind for one in own))
    said = []
    for kind in kinds:
        degrees = [one.fault.severity for one in own if one.fault.kind == kind]
        said.append(f"{kind.replace('_', ' ')} ({', '.join(f'{d:g}' for d in degrees)})")
    return said


def _groups(machine: Machine, shown: Sequence[Revealed]) -> Iterator[str]:
    looks: dict[tuple[str, ...], list[Revealed]] = {}
    for one in shown:
        if one.alike:
            looks.setdefault(one.shows, []).append(one)
    for group in looks.values():
        each = [f"{spoken(machine, one.fault.part)} {one.fault.kind.replace('_', ' ')} ({one.fault.severity:g})"
                for one in group]  # fmt: skip
        yield f"- {'; '.join(each)}"
    yield ""


def _why_not(one: Revealed, by_id: dict[str, Sign]) -> str:
    kinds = {_reason(by_id[name]) for name in one.elsewhere}
    return next((reason for reason, _ in REASONS if reason in kinds), "nothing")


def _reason(sign: Sign) -> str:
    stem = sign.node.partition("@")[0].partition(":")[0]
    if stem in ("sudden", "rested", "handled", "loose_piece", "eaten"):
        return "told"
    if sign.opens_case:
        return "open"
    if stem in ("warming", "warming_base") or stem.startswith("later_"):
        return "warm"
    if stem in ("late", "stiff", "only_this"):
        return "late"
    if "tone" in sign.hazards:
        return "off the tape"
    return "hand" if sign.mode == "off" else "while running"


# --- the score --------------------------------------------------------------------------------------------------------


def _share(found: Sequence[Revealed], places: Sequence[Scored], *, by_rate: bool = False) -> str:
    weights = [one.base_rate if by_rate else 1.0 for one in found]
    total = sum(weights)
    return f"{sum(w * one.first for w, one in zip(weights, places, strict=True)) / total:5.0%}" if total else "    -"


def _row(name: str, found: Sequence[Revealed], places: Sequence[Scored], sound: str) -> None:
    both = list(zip(found, places, strict=True))
    apart = [pair for pair in both if pair[0].told_apart]
    shown = [pair for pair in both if pair[0].shows]
    said = []
    for chosen in (apart, shown, both):
        faults, own = [one for one, _ in chosen], [one for _, one in chosen]
        said += [f"{len(chosen):5d}", _share(faults, own), _share(faults, own, by_rate=True)]
    print(f"{name:22s} " + "  ".join(said) + f"  {sound:>7s}", flush=True)


def _simulated(names: Sequence[str], asked: argparse.Namespace) -> None:
    everything = {name: [one.fault for one in _revealed(name)] for name in names} if asked.of_all else {}
    drawn = list(enumerate(sampled(LIST.read_text(encoding="utf-8"), names, asked.simulated, asked.seed, everything)))
    # One layout after another: what its readings hang on is worked out once, and takes longer than to judge a machine.
    drawn.sort(key=lambda one: names.index(one[1][0]))
    results: list[Tried] = []
    with tempfile.TemporaryDirectory() as passing:
        folder = asked.folder or Path(passing)
        folder.mkdir(parents=True, exist_ok=True)
        with get_context("spawn").Pool(asked.workers) as pool:
            work = partial(_one, seed=asked.seed, folder=folder)
            for (number, _), one in zip(drawn, pool.imap(work, drawn), strict=True):
                results.append(one)
                _told(number, one, misses=asked.misses)
    print(*report(results), sep="\n")


def _one(numbered: tuple[int, tuple[str, Fault]], *, seed: int, folder: Path) -> Tried:
    number, (name, fault) = numbered
    return tried(name, fault, number, seed, folder)


def _told(number: int, one: Tried, *, misses: bool) -> None:
    called = f"{one.machine} {one.fault.part}={one.fault.kind} {one.fault.severity:g}"
    mends = f"; {', '.join(one.mended) or 'none alone'} would mend it" if one.place != 1 else ""
    print(f"{number:3d} {called:55s} place {one.place}, ideal {one.ideal} ({one.says}){mends}", flush=True)
    if misses and one.place != 1:
        print(*(f"      {line}" for line in one.astray), sep="\n", flush=True)


def main() -> None:
    """Print the score, after writing the list and the page where that is asked."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("machines", nargs="*", default=MACHINES)
    parser.add_argument("--write", action="store_true", help="write the list and the manual's page, and stop")
    parser.add_argument("--draws", type=int, default=4, help="minutes of each fault")
    parser.add_argument("--sense", action="append", choices=SENSES, help="only this sense")
    parser.add_argument("--as-detected", action="store_true", help="only what the detectors of this version report")
    parser.add_argument("--simulated", type=int, metavar="N", help="play, film and listen to N machines instead")
    parser.add_argument("--of-all", action="store_true", help="with --simulated: of all faults, not of the list alone")
    parser.add_argument("--seed", type=int, default=2026, help="with --simulated: which machines")
    parser.add_argument("--folder", type=Path, help="with --simulated: where what was done is kept, to go on later")
    parser.add_argument("--workers", type=int, default=1, choices=(1, 2), help="with --simulated")
    parser.add_argument(
        "--misses", action="store_true", help="with --simulated: what went astray where it is not first"
    )
    asked = parser.parse_args()
    if asked.simulated:
        _simulated(asked.machines, asked)
        return
    if asked.write:
        write_whole(LIST, list_text())
        write_whole(PAGE, page_text())
        return
    senses = tuple(asked.sense or SENSES)
    print(f"{' and '.join(senses)}; found when there {HITS:.0%}, when not there {FALSE_ALARMS:.0%}")
    print("how often the part at fault leads: each fault counted alike | by base rate")
    print(f"{'machine':22s} told apart            shown                 all                sound machine suspected")
    everything: list[tuple[Revealed, Scored]] = []
    for name in asked.machines:
        machine = shipped(name)
        found = _revealed(name)
        places = scored(
            machine, [one.fault for one in found], draws=asked.draws, senses=senses, as_detected=asked.as_detected
        )
        everything += zip(found, places, strict=True)
        _row(name, found, places, f"{suspected_though_sound(machine):.0%}")
    _row("all of them", [one for one, _ in everything], [one for _, one in everything], "")


if __name__ == "__main__":
    main()
