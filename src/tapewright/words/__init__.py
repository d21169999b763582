"""Floor 0: the small frozen nouns that every room shares. No physics, no files, no plots.

units       bench units in and out; SI inside
estimate    Estimate: a number and its doubt
problem     Problem: where in the user's material, what was found, what to do
reading     Reading: one measured value, or the reason there is none
verdict     Verdict: a reading held against a limit, either way or to one side
signal      Trace: one quantity over time; Line: a steady component
evidence    Observation, Evidence: what was noticed, when, how sure
findings    BudgetItem, Link, Chain, Belief, Check, PlanStep, Clash: small results that travel
owner       OwnerSheet, AskedSign, Step, Verdict: the sheet for an owner far away
record      Record: everything one examination knows
comparison  ReadingChange, LineChange, ChannelChange: what changed between two recordings
hand_over   HandOver, Suspected: what leaves the shop with a machine
mechanism_heard  Mark, RateExpected, StretchHeard, Squeal, MechanismHeard, EvidenceHeard: what a microphone heard
practise    Exercise, Offered, Practice: what an ear is trained on
setting_up  SetUpStep, Conflict, NeverTurn, SetUpPlan, StepDone: how a machine is set up
sequence    Section, Sequence: what stands on a test tape
one_pass    PassSaid, PassReading, Judgement: what one pass of a test sequence said, and what limits make of it
visits      Visit, Trend: one machine over the years
reels_seen  HubSeen, ReelRate, ReelEvent, ReelsSeen: what a film of the hubs told
plain       any noun as plain JSON data
clock       a moment of a recording, in minutes and seconds
whole_file  a file written whole or not at all, and whether it can go to a place
"""
