"""The command that says how a machine is set up."""

import argparse

from tapewright.cli.given import Shown


def run_set_up(options: argparse.Namespace) -> Shown:
    """Say in which order a machine is set up, how close, and what is left alone."""
    from tapewright.jobs.setting_up import set_up_plan
    from tapewright.machine.load import read_machine
    from tapewright.show.setting_up_text import setting_up_text
    from tapewright.words.plain import plain

    machine = read_machine(options.machine)
    plan = set_up_plan(machine, options.has or None)
    return plain(plan), setting_up_text(machine, plan)
