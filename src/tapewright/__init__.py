"""Tapewright: from what a cassette transport does to the part at fault, the next check, the plan and the proof.

The flow, in five lines::

    a machine's description  ->  what turns, how fast, how hard           (machine)
    a fault put into it      ->  what one would then see, hear, measure   (faults)
    a recording              ->  readings, each with its doubt            (measure)
    readings + signs         ->  beliefs, the next check, the plan        (diagnose)
    all of that              ->  a job done, shown and kept               (jobs, show)
"""

import os

# One thread for the linear algebra library: a second one gains a tenth when the machine is idle and loses most of the
# speed when it is not. It has to be said before numpy is loaded, so it is said here; a user's own setting wins.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

__version__ = "0.1.0"
