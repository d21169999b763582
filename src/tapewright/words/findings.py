"""Small results that travel from room to room."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Rival:
    """Another part that may make a line.

    Arguments:
        part: the rotor's or coupling's name; "unexplained" for none of them.
        order: which harmonic of its rate; 0 when unexplained.
        probability: how likely it makes the line.
        told_apart: False where the line's frequency speaks for neither of the two: only how common such lines are does.
    """

    part: str
    order: int
    probability: float
    told_apart: bool


@dataclass(frozen=True, slots=True)
class BudgetItem:
    """How much of the flutter one rotor or belt explains.

    Arguments:
        part: the rotor's or coupling's name; "unexplained" for a line no part accounts for.
        order: which harmonic of the part's rate; 0 when unexplained.
        frequency_hz: where the line stands.
        peak_pct: its peak size, percent of speed.
        doubt_pct: half-width of the 95 % interval of the size.
        probability: how likely it is that this part, and no other, makes the line.
        rivals: what else may make it, the likeliest first.
        shaft_mates: what else sits on the part's shaft and turns with it; no recording tells them apart.
        share: of the power of the weighted rms reading, 0 to 1; None without such a reading.
        share_doubt: half-width of the 95 % interval of that.
    """

    part: str
    order: int
    frequency_hz: float
    peak_pct: float
    doubt_pct: float
    probability: float
    rivals: tuple[Rival, ...] = ()
    shaft_mates: tuple[str, ...] = ()
    share: float | None = None
    share_doubt: float | None = None


@dataclass(frozen=True, slots=True)
class Link:
    """One step of a chain from a fault to a sign.

    Arguments:
        part: the part it is about, "tape", or "" for the machine as a whole.
        about: what of it: "fault", or the stem of a function of the mechanism ("turns", "head_base", "tape").
        says: the step, a clause.
    """

    part: str
    about: str
    says: str


@dataclass(frozen=True, slots=True)
class Chain:
    """How a fault comes to show: the fault first, then what follows from it, one thing out of the other.

    Arguments:
        sign: id of the sign it ends in.
        says: that sign, a sentence.
        mode: the mode it shows in; "off" with the machine unplugged.
        links: at least the fault itself.
    """

    sign: str
    says: str
    mode: str
    links: tuple[Link, ...]


@dataclass(frozen=True, slots=True)
class Belief:
    """How likely a part is out of order, and how much of the evidence that would explain.

    Arguments:
        part: the rotor's, coupling's or sensor's name.
        kind: the likeliest way it is out of order.
        out_of_order: probability that it is out of order at all, given the evidence.
        explains_complaint: its share of the evidence: what would go away if it were sound.
        before: `out_of_order` before any evidence.
        kinds: every way it may be out of order, with its probability.
        reasons: sentences from the fault along its chain of effects to the signs, for and against.
        chains: the same for what speaks for it, step by step.
    """

    part: str
    kind: str
    out_of_order: float
    explains_complaint: float
    before: float
    kinds: tuple[tuple[str, float], ...] = ()
    reasons: tuple[str, ...] = ()
    chains: tuple[Chain, ...] = ()


@dataclass(frozen=True, slots=True)
class Shift:
    """What one answer would do to the belief in one part."""

    part: str
    explains_complaint: float
    out_of_order: float


@dataclass(frozen=True, slots=True)
class Check:
    """Something to look at, listen to or try next.

    Arguments:
        id: the sign's id.
        says: what one would notice, a sentence.
        how: how to look, step by step.
        mode: the mode it is noticed in.
        opens_case: whether the case must be opened.
        minutes: hands-on time.
        cautions: what can hurt the person, the machine or the tape, said where the hand is about to go.
        why: the reason it comes next, a sentence.
        expected_saving: minutes of work it is expected to save, its own cost taken off.
        if_yes: how the leading beliefs would stand after "yes".
        if_no: the same after "no".
        first: what comes before it, as when a tape is held in the machine; "" for nothing.
    """

    id: str
    says: str
    how: str
    mode: str
    opens_case: bool
    minutes: float
    cautions: tuple[str, ...]
    why: str
    expected_saving: float
    if_yes: tuple[Shift, ...] = ()
    if_no: tuple[Shift, ...] = ()
    first: str = ""


@dataclass(frozen=True, slots=True)
class ChangeOfMind:
    """An answer that would take much from the leading suspect.

    Arguments:
        sign: the sign's id.
        says: what one would notice, a sentence.
        present: the answer that would do it.
        likely: how likely that answer is.
        opens_case: whether the case must be opened for it.
        minutes: hands-on time.
        part: the leading suspect as things stand.
        explains_complaint: its share of the evidence after that answer.
        then_leading: the part that would lead after it; the same one when it still does.
    """

    sign: str
    says: str
    present: bool
    likely: float
    opens_case: bool
    minutes: float
    part: str
    explains_complaint: float
    then_leading: str


@dataclass(frozen=True, slots=True)
class PlanStep:
    """One piece of work, in its place in the order.

    Arguments:
        action: what to do, a sentence.
        part: the part's name.
        size: what to order, or "" when nothing is bought.
        minutes: hands-on time.
        cost_low: lowest usual price of what is bought.
        cost_high: highest usual price of what is bought.
        probability_it_cures: share of the evidence that goes away with it.
        remeasure: what to measure again afterwards.
        cautions: what can hurt, said where the hand is about to go.
        why: "explains the complaint" or "renew while it lies open".
        may_show: what may then be noticed that the present fault hides, sentences.
    """

    action: str
    part: str
    size: str
    minutes: float
    cost_low: float
    cost_high: float
    probability_it_cures: float
    remeasure: tuple[str, ...]
    cautions: tuple[str, ...]
    why: str
    may_show: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Clash:
    """A smallest set of evidence that cannot all hold.

    Arguments:
        signs: ids of the observations; taking any one out removes the clash.
        says: what clashes, a sentence.
    """

    signs: tuple[str, ...]
    says: str
