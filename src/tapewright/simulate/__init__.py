"""Floor 4: play a machine with its faults, and say the truth about it. All it makes is invented, and says so.

pack        the two packs of tape as they change while tape runs
course      what the tape does in one try: how fast, with which lines, how it slips, when it stops
timebase    that course as speed over time, seeded
defects     hiss, hum, dropouts: what tape and electronics add
truth       what is known of a simulated recording, beside it
place       only over nothing or over another simulation
recording   write it: a test tone played by such a machine
minute      play a guided minute to a microphone, and write it
minute_course   which mode the machine is really in when, what is fed, what clicks, what stops it
minute_turning  how fast everything turns through a minute
minute_noises   what squeals, knocks and rubs, and when
minute_voices   what each of it sounds like close by
minute_room     the room, what else is heard there, what a phone makes of it
minute_truth    what is known of a played minute, beside it
film_drive      what drives the tape in one mode of a film, and how much of it the reel can take
film_course     where both hubs of a cassette stand over time; no tape is lost
film_packs  the tape on both packs of a filmed cassette and in a loop between them, moment by moment
film            write the film that a phone would take of the cassette in such a machine, and the truth beside it
film_camera     the phone: where it stands, how it is held, when it reads which row, lamp and sensor
film_look       shell, hubs and packs, drawn flat
film_picture    the frames: each row at its own time, blurred over its exposure
film_scenes     a cassette whose hubs follow a course; a fan, a desk, hands
film_words      the caption that is burnt into every frame
"""
