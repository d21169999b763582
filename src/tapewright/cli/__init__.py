"""Floor 6: the command line, one of two thin doors. It parses, calls one function, prints; it computes nothing.

Everything heavy is imported inside the command that needs it, so that help comes at once.

running    read the command line, run the command, leave with its exit code
table      every command: its name, what it does, and its options
options    options that several commands have
given      what commands are given, read and checked
examining  commands that examine: from evidence and recordings to findings
listening  the command that listens to a mechanism
watching   the command that watches a film of the hubs
sequences  commands about the test sequence
minutes    commands about guided minutes: to play one, to practise on them
filming    the command that films a cassette in a machine with faults
machines   commands about a machine's description, and what follows from it
setting_up  the command that says how a machine is set up
shop       commands of the shop: the bench page, the owner far away, test tapes, closed jobs
"""

from tapewright.cli.running import main

__all__ = ["main"]
