"""Floor 4: where the two streams meet. Readings and signs become beliefs, the next check and the plan.

relations     which combinations of words can occur together
ordering      in which order to sum a network out
known_orders  orders that took long to find, shipped for the largest machines
kept_orders   orders that were found before, kept on this machine
contraction   exact sums over a network of factors, every marginal at once, many cases in one batch
crossing      chances of two variables together, for many pairs at once
crossing_ways  which joins that takes, and where each variable is read off
merging       words that nothing tells apart are one word: exact, and smaller
general       questions to a belief network of any kind
network       the belief network that a machine's own functions imply
pruning       the part of a network that some of its functions hang on
lives         a machine with parts renewed, and the same machine as it was, in one network
measured      what can be measured: names of readings, units, what each is about
from_film     from a film of the hubs to readings and signs, each with why
still_by_film  when the hubs of a film turn at all, and for how much of that one stands
stops_by_film  what a film tells of the brakes: which reel runs on when a wind is stopped
winds_by_film  a filmed wind beside its description: the share of its rate, the time of the whole
expectation   how one measurement hangs on the machine: the noun
expected      what each measurement should read on a machine as it is: which of the next four says so
expected_forces  torques, forces, currents, the supply
expected_times  winds, run-down, the head base, running on, giving up
expected_motion  speed, drift, flutter, lines, rates
expected_heads  azimuth, spacing, gap, treble, dropouts, levels
combinations  the states a machine can be in, one fault or several: the word of each function, the reading of each
projection    how likely a reading is in each state, as likelihoods of words and of parts
from_sound    from what a microphone heard of the mechanism to readings and signs, each with its reason
from_sound_spells    each mode of a recording from its mark to the next, and what is heard in it
from_sound_racing    what a motor's rate tells of racing and of labouring
from_sound_stopping  what a recording tells of running on, stopping, giving up
from_sound_rising    what two clicks tell of a head base that a cam moves
from_sound_tray      what a recording tells of a tray, by how long its motor is fed
from_sound_noises    what a recording tells of squeals, knocks, rubbing
from_sound_solenoids  what a recording tells of solenoids, by how plainly keys click
told_when     what was told of a moment, as signs can take it
likelihoods   what an answer or a reading says about functions and parts
unexplained   evidence that a description does not explain
beliefs       how likely each part is out of order, and how much of the evidence that explains
pairs         what every part has to do with every function, in one go
repairs       what can be mended, and what that costs
cases         what may be wrong, whole machine by whole machine, drawn and weighed
distinct      rows of a table that are alike
lookup        functions as tables: which word each takes in many machines at once
cures         which works would end a complaint, alone or together
mending       what it costs to mend one thing after another, for many states at once
policy        what to do next, by the expected cost of repair: ask, mend or hand back
course        small jobs worked out exactly, and what the policy costs on them
trial         jobs on simulated machines, whoever decides
next_check    which check is expected to save most work, and what would change the tool's mind
strategy      the cheapest strategy, exactly, for small problems: the yardstick
rescue        whether a tape is held in the machine
plan          the repairs, in their order
unmasking     what may show once the present fault is mended
phrases       one function in one state, as a clause
explain       the chain from a fault to a sign, in words
clash         smallest sets of evidence that cannot hold together
closed_jobs   what a finished job says: what was found, what was not looked at, what had been predicted
learning      what closed jobs teach: base rates, and how well signs are noticed
learnt        the same set out to be shown
calibration   how well what was predicted came true
shop_standing  what a shop has learnt, and how well it predicted
budget        which rotor explains which line, which share of the reading it is
budget_rates  what can make a line, and which errors move rates together
budget_search  all lines assigned together
"""
