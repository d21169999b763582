"""Floor 3: what can go wrong with a mechanism, and what follows from it. No file here pairs a fault with a sign.

catalogue/    each fault kind: where it can live, how common, what it changes, how it is mended
catalogue     read it; every fault a machine can have
applied       fault + machine -> a new machine
conditions    one part's imperfections -> what the rest of the mechanism feels of it
head_conditions  the same for what tape and heads feel
graph         functions that hang on each other: evaluate, reach, trace back
behaviours    how motion, grip and drag combine at one place
tape_behaviours  what capstans, rollers and reels together make the tape do
two_moments   the same thing cold and warm, at the start and the end of a side, from rest and running
sheet         the graph while it is being drawn
drives        what can drive what in a mode
turning       how every shaft turns, from the motors outward
tape_moved    what moves the tape: capstans, pinch rollers, reels, and what holds it back
bringing_in   what brings couplings in and lets brakes go
at_the_heads  what imperfections leave of the contact between tape and heads, track by track
felts         what holds a reel back by a back-tension belt, and what is thrown where nothing does
tray          the tray that a motor moves, and what waits for it
complaint     how trouble came on, what helps it on, what fell out: asked of the parts a mode hangs on
head_base     whether the head base goes where a mode sends it, and whether the logic learns of it
heard         what ear and eye make of a whole mode or shaft; what lid and keys answer
tracks_heard  what an ear that compares the tracks makes of them
moments       the same mode when warm, and at the start of a side
mechanism     the functions of a machine, along its drives, in every mode: one graph for engine and beliefs
consequences  run it with given faults: what each rotor, the head base and the tape do, what is heard
slipping  how much of a rate is left where couplings slip
tape_speed    how fast its tape runs: what the drive loses, what drags, where it runs away
speed_lines   which lines each rotor, belt and gear puts on that speed
sign_texts    how the things a mechanism does are noticed, in words
looking_texts  the same for what parts look and feel like
complaint_texts  the same for what owners tell beside it
signs         what a person can notice of that, how, at what cost; read off the outcome
search        signs found by the words a person types
cautions      what can hurt, said where the hand is about to go
"""
