"""What came of simulated guided minutes, all together: places, what each detector lost, what each answer was worth.

A detector that says "no" of half of what is there has not looked: the last table says so, and how sure an answer of
each kind may be follows from it by the ratio of its two shares.
"""

from collections.abc import Iterator, Sequence

from scipy.stats import binomtest

from benchmarks.guided_minute_simulated import DETECTORS, Tried


def report(results: Sequence[Tried]) -> Iterator[str]:
    """Say what came of all, in lines.

    Arguments:
        results: of every machine tried.
    """
    first, ideal = sum(one.place == 1 for one in results), sum(one.ideal == 1 for one in results)
    count = len(results)
    for says, number in (("simulated sound and film", first), ("a perfect ear and eye on the same", ideal)):
        low, high = binomtest(number, count).proportion_ci()
        yield f"{says}: first in {number} of {count}, {number / count:.0%} ({low:.0%} to {high:.0%})"
    among = sum(1 <= one.place <= 3 for one in results)
    yield f"among the first three: {among} of {count}, {among / count:.0%}"
    lost = [one for one in results if one.place != 1]
    yield f"\n{'detector':40s} changed: right silent wrong   of {len(lost)} not first, it alone would mend"
    for called in DETECTORS:
        told = [what for one in results for of, what in one.told if of == called]
        counts = [told.count(word) for word in ("right", "silent", "wrong")]
        mends = sum(called in one.mended for one in lost)
        if told or mends:
            yield f"{called:40s}         {counts[0]:6d} {counts[1]:6d} {counts[2]:5d}   {mends:d}"
    several = sum(one.ideal == 1 and not one.mended for one in lost)
    hopeless = sum(one.ideal != 1 and not one.mended for one in lost)
    yield f"{'none alone, all together':40s}                               {several:d}"
    yield f"{'not even all together':40s}                               {hopeless:d}"
    yield from _worth(results)


def _worth(results: Sequence[Tried]) -> Iterator[str]:
    """Say what each kind of yes and no was worth: how often it was said where it is so and where it is not."""
    kinds = sorted({kind for one in results for kind, _, said in one.answers if said})
    yield f"\n{'kind of answer':40s}   so: yes   no of all   not so: yes   no of all"
    for kind in kinds:
        own = [(chance, said) for one in results for name, chance, said in one.answers if name == kind]
        counts = [
            sum((chance if there else 1.0 - chance) for chance, said in own if said in what)
            for there in (True, False) for what in (("yes",), ("no",), ("yes", "no", ""))
        ]  # fmt: skip
        yield (f"{kind:40s} {counts[0]:9.1f} {counts[1]:4.1f} {counts[2]:6.1f} "
               f"{counts[3]:13.1f} {counts[4]:5.1f} {counts[5]:6.1f}")  # fmt: skip
