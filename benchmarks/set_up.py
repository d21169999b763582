"""What it costs to follow tracks live while a machine is set up, as a share of their playing time.

Run from the repository: python benchmarks/set_up.py
"""

import time

import numpy as np

from tapewright.measure.live_pair import PairMeter

SECONDS = 20.0
WHERE = (0.30e-3, 1.20e-3, 2.61e-3, 3.51e-3)


def sound(rate_hz: float, channels: int, tones_hz: tuple[float, ...]) -> np.ndarray:
    """Tones and noise, alike on all channels but for a delay."""
    at = np.arange(round(SECONDS * rate_hz)) / rate_hz
    late = [at - 5e-6 * channel for channel in range(channels)]
    one = np.stack([sum(0.1 * np.sin(2 * np.pi * tone * when) for tone in tones_hz) for when in late], axis=1)
    return (one + 1e-4 * np.random.default_rng(1).standard_normal(one.shape)).astype(np.float32)


def main() -> None:
    """Print the shares."""
    for rate_hz, channels, tones_hz in (
        (48_000.0, 2, (10_000.0,)),
        (48_000.0, 2, (400.0, 10_000.0)),
        (96_000.0, 4, (400.0, 1250.0, 4000.0, 10_000.0)),
    ):
        heard = sound(rate_hz, channels, tones_hz)
        meter = PairMeter(rate_hz, WHERE[:channels], 0.047625)
        began = time.process_time()
        for at in range(0, len(heard), 2048):
            meter.add(heard[at : at + 2048])
        share = (time.process_time() - began) / SECONDS
        print(
            f"{channels} channels at {rate_hz:.0f} Hz, {len(tones_hz)} tones: {100 * share:.1f} % of the playing time"
        )


if __name__ == "__main__":
    main()
