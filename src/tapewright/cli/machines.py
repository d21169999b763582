"""Commands about a machine's description, and what follows from it."""

import argparse

from tapewright.cli.filming import simulate_film
from tapewright.cli.given import Progress, Shown, knowledge_given
from tapewright.cli.minutes import simulate_minute
from tapewright.words.problem import InputAtFaultError, Problem


def run_rates(options: argparse.Namespace) -> Shown:
    """Say how fast each rotor turns."""
    from tapewright.machine.load import read_machine
    from tapewright.machine.rate_twins import rate_twins
    from tapewright.machine.rates import rates
    from tapewright.machine.speeds import at_speed, speeds_m_per_s
    from tapewright.show.tables import rates_text, twins_text
    from tapewright.words.plain import plain

    machine = read_machine(options.machine)
    if options.speed is not None:
        wanted = [speed for speed in speeds_m_per_s(machine) if abs(speed * 1e3 - options.speed) < 0.5]
        if not wanted:
            known = ", ".join(f"{speed * 1e3:g}" for speed in speeds_m_per_s(machine))
            raise InputAtFaultError(
                Problem("--speed", f"is {options.speed:g} mm/s.", f"This machine plays at: {known}.")
            )
        machine = at_speed(machine, wanted[0])
    found = {mode: rates(machine, mode) for mode in machine.modes}
    twins = {mode: rate_twins(machine, mode) for mode, entered in machine.modes.items() if entered.at_capstan}
    modes = {
        mode: [
            {
                "name": key,
                "what": rate.what,
                "turns_per_s": rate.turns_per_s.value,
                "doubt": rate.turns_per_s.doubt,
                "range_per_s": rate.range_per_s,
            }
            for key, rate in turning.items()
        ]
        for mode, turning in found.items()
    }
    data = {"machine": machine.id, "speed_mm_per_s": machine.tape.speed_m_per_s * 1e3, "modes": modes}
    return data | {"twins": plain(twins)}, f"{rates_text(machine, found)}\n\n{twins_text(machine, twins)}"


def run_forces(options: argparse.Namespace) -> Shown:
    """Say what each coupling can pass."""
    from tapewright.machine.all_forces import all_forces
    from tapewright.machine.load import read_machine
    from tapewright.show.force_tables import forces_text
    from tapewright.words.plain import plain

    machine = read_machine(options.machine)
    found = all_forces(machine)
    return {"machine": machine.id} | plain(found), forces_text(machine, found)


def run_sizes(options: argparse.Namespace) -> Shown:
    """Say which belts, tyres and rollers to order."""
    from tapewright.jobs.sizing import sizing
    from tapewright.machine.load import read_machine
    from tapewright.show.sizing_text import sizing_text
    from tapewright.words.plain import plain

    machine = read_machine(options.machine)
    found = sizing(machine, options.string, options.old, options.near, options.stock)
    return {"machine": machine.id} | plain(found), sizing_text(machine, found)


def run_machine(options: argparse.Namespace) -> Shown:
    """Start, check or draw a description."""
    from tapewright.jobs import describing

    wanted, given = options.action, options.what
    if wanted in ("new", "check", "draw") and not given:
        what = {"new": "LAYOUT", "check": "FILE", "draw": "M"}[wanted]
        raise InputAtFaultError(Problem(f"machine {wanted}", f"needs {what}.", "See tapewright machine --help."))
    if wanted == "new":
        return describing.new(given, options.out, options.id, complete=options.complete)
    if wanted == "check":
        return describing.check(given)
    if wanted == "draw":
        return _draw(options)
    return describing.schema(options.out) if wanted == "schema" else describing.list_layouts()


def _draw(options: argparse.Namespace) -> Shown:
    from tapewright.machine.load import read_machine
    from tapewright.show.drawing import drawing
    from tapewright.words.whole_file import write_whole

    svg = drawing(read_machine(options.what), options.mode)
    if options.out is None:
        return {"svg": svg}, svg
    write_whole(options.out, svg)
    return {"written": str(options.out)}, f"Written: {options.out}"


def run_signs(options: argparse.Namespace) -> Shown:
    """List the signs of a machine."""
    from tapewright.faults.cautions import cautions
    from tapewright.faults.mechanism import mechanism
    from tapewright.faults.search import found_signs
    from tapewright.faults.signs import signs
    from tapewright.machine.load import read_machine
    from tapewright.show.tables import signs_text

    machine = read_machine(options.machine)
    found = list(signs(mechanism(machine)))
    if options.find:
        found = found_signs(found, options.find, most=12)
    listed = [
        {
            "id": s.id, "says": s.says, "mode": s.mode, "how": s.how, "opens_case": s.opens_case,
            "minutes": s.minutes, "cautions": cautions(s.hazards),
        }
        for s in found
    ]  # fmt: skip
    return {"machine": machine.id, "signs": listed}, signs_text(machine, found)


def run_faults(options: argparse.Namespace) -> Shown:
    """List the faults of a machine."""
    from tapewright.jobs.faults_list import faults_list
    from tapewright.machine.load import read_machine
    from tapewright.show.tables import faults_text

    machine = read_machine(options.machine)
    listed = faults_list(machine, knowledge_given(options))
    return {"machine": machine.id, "faults": listed}, faults_text(machine, listed)


def run_simulate(options: argparse.Namespace) -> Shown:
    """Play a machine with faults into a recording."""
    if options.film:
        return simulate_film(options)
    if options.minute:
        return simulate_minute(options)
    from tapewright.faults.applied import parse_fault
    from tapewright.machine.load import read_machine
    from tapewright.simulate.recording import simulate
    from tapewright.words.plain import plain

    machine = read_machine(options.machine)
    faults = [parse_fault(machine, text) for text in options.fault]
    truth = simulate(
        machine, faults, options.out, duration_s=options.seconds, seed=options.seed, progress=Progress("playing")
    )
    return plain(truth), f"Written: {options.out} and {options.out.with_suffix('.json')}"
