"""Floor 2, left stream: the description of a mechanism and its physics. It has never heard a sound.

parts       Rotor, Coupling, Sensor, Mode, HeadBase, Machine, Imperfections: frozen; ideal shape plus what is wrong
typical     ranges that stand in for sizes nobody has measured, each with its source
load        TOML -> Machine or Problems; the only file that knows TOML or millimetres
check       what a description must obey, one small function each
couplings   who turns whom, in which mode
rates       how fast each rotor turns, how often each belt passes, in every mode
forces      how much each coupling can pass against what the mode asks of it
sizes       the questions backwards: which belt, which tyre, which roller
library/    the invented machines and starters that ship
"""
