"""A test sequence on the bench: both recordings hold one, and the pages say what it told, before against after."""

from pathlib import Path

import numpy as np
import pytest

from tapewright.measure.sequence_plan import planned_sequence
from tests.measure.played import Deck, noisy, played, saved
from tests.web.visitor import Visitor, seen

LATE_S = {"before": 40e-6, "after": 2e-6}
"""How much later the second track is."""


@pytest.mark.slow
def test_acceptance_and_before_and_after(tmp_path: Path) -> None:
    sequence = planned_sequence(tracks=2)
    with Visitor(tmp_path / "home") as visitor:
        job = visitor.begin("two_motor_deck")
        for stage, late_s in LATE_S.items():
            deck = Deck(azimuth_s=(0.0, late_s))
            path = saved(tmp_path / f"{stage}.wav", noisy(played(sequence, deck), 40.0, np.random.default_rng(1)))
            visitor.ask("PUT", f"{job}/recordings?name={stage}.wav&stage={stage}", content=path.read_bytes())
        recordings = seen(visitor.measured(job))
        assert recordings.count("Test sequence") == 2
        proof = seen(visitor.get(f"{job}/proof").text)
        assert "Heads and levels" in proof
        assert "After (after.wav): acceptance" in proof
        assert "azimuth better" in proof
        assert "✗ fail → ✓ pass" in proof
        paper = seen(visitor.get(f"{job}/hand-over/owner.html").text)
        assert "A test tape was played after the repair" in paper
        assert visitor.get(f"{job}/hand-over/bench.pdf").content.startswith(b"%PDF")
