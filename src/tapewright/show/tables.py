"""Rates, margins, sizes, signs and faults as plain text, for a terminal."""

from collections.abc import Iterable, Mapping, Sequence

from tapewright.faults.cautions import cautions
from tapewright.faults.signs import Sign
from tapewright.machine.forces import Margin, verdict
from tapewright.machine.parts import Machine
from tapewright.machine.rate_twins import Twin
from tapewright.machine.rates import Rate
from tapewright.machine.sizes import Size
from tapewright.measure.test_tape import KINDS, KnownTape
from tapewright.show.columns import bullets, heading, paragraph, table
from tapewright.show.said import minutes_said, mode_said, name_of, out_of_order_as, percent, reading_name, with_doubt
from tapewright.words.units import gcm, to_the_doubt

_COMES_ROUND = {"rotor": "turns", "belt": "belt passes", "teeth": "teeth", "commutator": "commutator segments"}


def rates_text(machine: Machine, rates: Mapping[str, Mapping[str, Rate]]) -> str:
    """Set out how fast everything turns, mode by mode.

    Arguments:
        machine: whose they are.
        rates: by mode, then as `machine.rates.rates` gives them.
    """
    pieces = [paragraph(machine.title)]
    for mode, found in rates.items():
        rows = [
            [name_of(machine, one.name), _COMES_ROUND[one.what], rate_said(one), _over_a_side(one)]
            for one in found.values()
        ]
        body = table(["part", "what comes round", "a second", "over a side of tape"], rows, right=[2])
        pieces.append(heading(_capital(mode_said(mode))) + "\n" + (body if rows else "Nothing turns."))
    pieces.append(paragraph("Sizes without a direction, when nothing slips. Where the pack of tape matters, the middle "
                            "of a side is given. ± is half of the 95 % interval."))  # fmt: skip
    return "\n\n".join(pieces)


def twins_text(machine: Machine, twins: Mapping[str, Sequence[Twin]]) -> str:
    """Set out what a recording cannot tell apart by rate, mode by mode; record, which is play again, is left out."""
    pieces = []
    for mode, found in twins.items():
        if mode == "record" or not found:
            continue
        rows = [
            [_ordered(machine, t.first, t.order_first), _ordered(machine, t.second, t.order_second),
             with_doubt(t.rate_hz, None, ""), _apart(t)]
            for t in found
        ]  # fmt: skip
        title = heading(f"Not to be told apart by a recording {mode_said(mode)}")
        pieces.append(f"{title}\n{table(['line of', 'and of', 'a second', 'apart by'], rows, right=[2, 3])}")
    return "\n\n".join(pieces)


def _apart(twin: Twin) -> str:
    return "on one shaft" if twin.why == "shaft" else with_doubt(twin.apart_hz, twin.doubt_hz, "")


def _ordered(machine: Machine, name: str, order: int) -> str:
    part, _, what = name.partition(".")
    said = name_of(machine, part) + (f", {what}" if what else "")
    return said if order == 1 else f"{order} x {said}"


def rate_said(rate: Rate) -> str:
    """Write a rate with its doubt, without a unit.

    >>> from tapewright.machine.library import shipped
    >>> from tapewright.machine.rates import rates
    >>> rate_said(rates(shipped("four_track"), "play")["capstan"])
    '12.050 ± 0.096'
    """
    return with_doubt(rate.turns_per_s.value, rate.turns_per_s.doubt, "")


def _over_a_side(rate: Rate) -> str:
    if rate.range_per_s is None:
        return ""
    low, high = rate.range_per_s
    doubt = rate.turns_per_s.doubt or 0.01 * high
    return f"{to_the_doubt(low, doubt)} to {to_the_doubt(high, doubt)}"


def margins_text(machine: Machine, margins: Iterable[Margin]) -> str:
    """Set out what each coupling can pass against what is asked of it, mode by mode, torques in g·cm."""
    by_mode: dict[str, list[Margin]] = {}
    for margin in margins:
        by_mode.setdefault(margin.mode, []).append(margin)
    pieces = [paragraph(machine.title)]
    for mode, found in by_mode.items():
        rows = [
            [name_of(machine, m.coupling), f"{gcm(m.capacity_nm):.3g}", f"{gcm(m.demand_nm):.3g}",
             f"{m.ratio.value:.2g}", f"{m.low:.2g} to {m.high:.2g}", verdict(m)]
            for m in found
        ]  # fmt: skip
        headings = ["coupling", "can pass, g·cm", "is asked, g·cm", "margin", "95 % of it", ""]
        pieces.append(heading(_capital(mode_said(mode))) + "\n" + table(headings, rows, right=[1, 2, 3, 4]))
    named: dict[str, dict[str, None]] = {}
    for margin in (m for found in by_mode.values() for m in found):
        named.setdefault(margin.assumption, {})[name_of(machine, margin.coupling)] = None
    stands = [f"{', '.join(names)}: {text}." for text, names in named.items()]
    pieces.append(heading("What stands behind this") + "\n" + bullets(stands) if stands else "Nothing is at work.")
    return "\n\n".join(pieces)


def sizes_text(machine: Machine, sizes: Iterable[Size]) -> str:
    """Set out what to order."""
    pieces = [paragraph(machine.title)]
    pieces += [paragraph(f"{_capital(name_of(machine, s.part))} ({s.what}): {s.says}", "    ", "") for s in sizes]
    return "\n\n".join(pieces if len(pieces) > 1 else [*pieces, "No belt, tyre or roller."])


def signs_text(machine: Machine, signs: Iterable[Sign]) -> str:
    """Set out every sign a machine can show, mode by mode, with how to look and what to mind."""
    by_mode: dict[str, list[Sign]] = {}
    for sign in signs:
        by_mode.setdefault(sign.mode, []).append(sign)
    pieces = [paragraph(machine.title)]
    for mode, found in by_mode.items():
        pieces.append(heading(_capital(mode_said(mode))) + "\n" + "\n".join(_sign(sign) for sign in found))
    return "\n\n".join(pieces)


def _sign(sign: Sign) -> str:
    opens = "opens the case, " if sign.opens_case else ""
    lines = [
        paragraph(f"{sign.id}: {sign.says}."),
        paragraph(f"{sign.how} ({opens}{minutes_said(sign.minutes)})", "    "),
    ]
    return "\n".join([*lines, *(paragraph(said, "    ! ", "    ! ") for said in cautions(sign.hazards))])


def faults_text(machine: Machine, faults: Sequence[Mapping[str, object]]) -> str:
    """Set out every fault a machine can have.

    Arguments:
        machine: whose they are.
        faults: each with `part`, `kind`, `base_rate` and the `signs` it leads to.
    """
    pieces = [paragraph(machine.title)]
    for part in dict.fromkeys(str(fault["part"]) for fault in faults):
        rows = []
        for fault in (one for one in faults if one["part"] == part):
            kind, rate, leads = str(fault["kind"]), fault["base_rate"], fault["signs"]
            shown = percent(float(rate)) if isinstance(rate, (int, float)) else ""
            listed = ", ".join(map(str, leads)) if isinstance(leads, (list, tuple)) else ""
            rows.append([kind, out_of_order_as(machine, part, kind), shown, listed])
        headings = ["kind", "how it is out of order", "before", "signs it leads to"]
        pieces.append(heading(f"{_capital(name_of(machine, part))} ({part})") + "\n" + table(headings, rows, right=[2]))
    return "\n\n".join(pieces)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def tapes_text(
    tapes: Sequence[KnownTape], place: str, clock_error_ppm: float | None = None, clock_doubt_ppm: float = 0.0
) -> str:
    """Set out a shop's test tapes, and what is known of its sound card's clock.

    Arguments:
        tapes: with their passes.
        place: the register.
        clock_error_ppm: how much faster the clock runs than it says; None where nobody measured it.
        clock_doubt_ppm: half-width of its 95 % interval.
    """
    rows = [
        [one.name, KINDS[one.kind], one.known, "" if one.tone_hz is None else f"{one.tone_hz:g}", _own_speed(one),
         "; ".join(f"{reading_name(name)} {with_doubt(own.value or 0.0, own.doubt, '%')}"
                   for name, own in one.flutter.items()), str(one.passes)]
        for one in tapes
    ]  # fmt: skip
    headings = ["tape", "kind", "known", "tone, Hz", "own speed now", "own flutter", "passes"]
    body = table(headings, rows, right=[3, 6]) if rows else "No test tape is registered."
    clock = "The sound card's clock was not measured, and is taken as true."
    if clock_error_ppm is not None:
        clock = f"The sound card's clock is off by {clock_error_ppm:+g} ± {clock_doubt_ppm:g} ppm."
    return f"{heading('Test tapes')}\n{body}\n\n{paragraph(clock)}\n{paragraph(f'Register: {place}')}"


def _own_speed(tape: KnownTape) -> str:
    now = tape.speed_now_pct
    return "not known" if now is None else with_doubt(*now, "%", sign=True)
