"""The command that films a cassette in a machine with faults: a film that nobody took."""

import argparse

from tapewright.cli.given import Progress, Shown
from tapewright.cli.options import Option

FILM: tuple[Option, ...] = (
    (("--film",), {"action": "store_true", "help": "a film of the cassette's hubs; with --minute, of a guided minute"}),
    (("--mode",), {"metavar": "MODE", "default": "play", "help": "with --film: from its key on (default: play)"}),
    (("--position",), {"metavar": "S", "type": float, "default": 0.0,
                       "help": "with --film: seconds of play into the side at which it begins (default: 0)"}),
    (("--frame-rate",), {"metavar": "HZ", "type": float, "default": 30.0,
                         "help": "with --film: frames a second (default: 30)"}),
    (("--shell",), {"choices": ["window", "clear"], "default": "window",
                    "help": "with --film: what can be seen of the packs (default: window)"}),
)  # fmt: skip


def simulate_film(options: argparse.Namespace) -> Shown:
    """Film the cassette in a machine with faults."""
    from dataclasses import replace

    from tapewright.faults.applied import parse_fault
    from tapewright.machine.load import read_machine
    from tapewright.machine.minute import minute_steps
    from tapewright.simulate.film import film, usual_camera
    from tapewright.simulate.film_look import Look
    from tapewright.words.plain import plain

    machine = read_machine(options.machine)
    faults = [parse_fault(machine, text) for text in options.fault]
    truth = film(
        machine, faults, options.out, minute_steps(machine) if options.minute else options.mode, options.seconds,
        options.seed, options.position, replace(usual_camera(), rate_hz=options.frame_rate), Look(shell=options.shell),
        progress=Progress("filming"),
    )  # fmt: skip
    written = f"Written: {options.out} and {options.out.with_suffix('.json')}"
    return plain(truth), "\n".join([truth.says, "", *truth.happens, "", written])
