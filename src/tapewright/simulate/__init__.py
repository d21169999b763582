"""Floor 4: play a machine with its faults, and say the truth about it. All it makes is invented, and says so.

pack        the two packs of tape as they change while tape runs
course      what the tape does in one try: how fast, with which lines, how it slips, when it stops
timebase    that course as speed over time, seeded
defects     hiss, hum, dropouts: what tape and electronics add
truth       what is known of a simulated recording, beside it
recording   write it: a test tone played by such a machine
film_drive  what drives the tape in one mode of a film, and how much of it the reel can take
film_course where both hubs of a cassette stand over time; no tape is lost
"""
