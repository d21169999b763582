"""Where a record's numbers come from: what is invented, what stands in for a size, what is from memory."""

from tapewright.machine.parts import Machine
from tapewright.machine.typical import all_sizes, source_of
from tapewright.show.said import name_of
from tapewright.words.record import Record

FROM_MEMORY = "from memory"


def provenance(record: Record, machine: Machine) -> tuple[tuple[str, str], ...]:
    """List what a reader needs to judge a record by: (what, a sentence or more)."""
    found = [
        ("Made at", record.made_at),
        ("Program", f"Tapewright {record.version}"),
        ("Description", machine.source or f"the description of {machine.id}"),
        ("Layout", record.layout.replace("_", " ")),
        ("Invented", invented_said(record)),
        ("Sizes", _stand_ins(machine)),
        ("From memory", _from_memory(machine, bool(record.heard))),
    ]
    age = record.evidence.age_years
    if age is not None:
        found.insert(4, ("Age of rubber and grease", f"{age:g} years, as told"))
    return tuple(found)


def invented_said(record: Record) -> str:
    """Say whether the machine is an invented one."""
    if record.invented:
        return "The machine is invented: nobody built it, and no finding here is about one that exists."
    return "The machine is described as one that exists."


def _stand_ins(machine: Machine) -> str:
    """Name the sizes nobody measured; a range stands in for each."""
    typical = [key for key, size in all_sizes(machine).items() if size.basis == "typical" and "." in key]
    if not typical:
        return "Every size of a part is described."
    named: dict[str, list[str]] = {}
    for key in typical:
        part, _, size = key.rpartition(".")
        named.setdefault(name_of(machine, part), []).append(size)
    said = "; ".join(f"{part}: {', '.join(sizes)}" for part, sizes in named.items())
    start = f"A usual range stands in for {len(typical)} sizes that are not described, and the doubt is the wider"
    return f"{start}: {said}."


def _from_memory(machine: Machine, with_recordings: bool) -> str:
    remembered = [
        key.replace("_", " ")
        for key, size in all_sizes(machine).items()
        if size.basis == "typical" and "." not in key and FROM_MEMORY in source_of(key)
    ]
    said = "How often parts of this age fail, how surely a sign is noticed, all minutes and prices: trade judgement."
    if remembered:
        said += f" Ranges from memory, in whole or in part: {', '.join(remembered)}."
    if with_recordings:
        said += " The weighting table behind the weighted readings is from memory; its doubt is in the readings."
    return said
