"""Floor 2, left stream: the description of a mechanism and its physics. It has never heard a sound.

parts       Rotor, Coupling, Sensor, Mode, HeadBase, Machine, Imperfections: frozen; ideal shape plus what is wrong
load        TOML -> Machine or Problems; the only file that knows TOML
described   what a description holds, key by key; the only file that knows millimetres
section     one table of a description, read key by key; every mistake in it is collected
check       what a description must obey: names, references, keys that belong together
check_motion  what a description must obey: that it can move, that its sizes agree
limits      what a machine's sheet can set limits for, and which way each holds
schema      the JSON Schema of a description, for editors
starter     a starter of a layout: its structure, without sizes, full of advice
remarks     what obeys every rule and still looks doubtful
typical     ranges that stand in for sizes nobody has measured, each with its source
doubt       the doubt of sizes carried into what follows from them
figure      a figure with its doubt and the assumption that matters most to it
formulas    the closed forms, each with its source
belt_path   the way of a belt over any number of pulleys, inside the loop or on its back
back_tension  what holds a reel back: drags on it, and those it turns by a back-tension belt
couplings   who turns whom, in which mode
running_belt  one belt as it runs: its way, its stretch, what it can pull
rates       how fast each rotor turns, how often each belt passes, in every mode
rate_twins  which parts cannot be told apart by rate, and which harmonics collide
speeds      the same machine at another of its speeds
minute      the guided minute: what to do when, so that every mode is heard and seen
forces      how much each coupling can pass against what the mode asks of it
asked       the torque a mode asks of each step of its drive
passed      the torque a coupling can pass
force_sizes   every size that forces need; the starting torque of each motor
belt_forces   one belt: tension at rest and running, grip, load on the shafts
reel_drive  what a mode's drive can give a reel, and what the reel takes
tension     take-up over the pack, loop, over-drive, the capstan's pull
run_down    what stops a reel once a wind is stopped, and how long that takes
winding     wind times both ways; the flywheel's run-down by the stopwatch
speed_changes   what belts, residue and the tape's thickness do to the speed
flywheel_filter   where the flywheel resonates on its belt, and what it lets through
all_forces  everything that forces say, in one go
head_contact  where the tracks lie, and what spacing, gap and lean take from them
sizes       the questions backwards: which belt, which tyre, which roller
belt_sizes  a belt from a string, the old belt, the pulleys' places, or several against each other
round_sizes   sections by the groove, tyres by what they sit on, pinch rollers
near_size   what a near size would do to speed, tension, grip and the motor's load
stock       the shop's stock list, read with its mistakes
order       the best items in stock with reasons; an order list to print
library/    the invented machines and starters that ship
"""
