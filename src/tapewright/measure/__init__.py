"""Floor 2: sound in, readings out. This room knows no machine: it is handed frequencies as plain numbers.

audio           open any file that libsndfile reads, in blocks, altering nothing; refuse the rest with a sentence
packed          sound out of the containers of phones and cameras
survey          one pass over the file: what stands out in each twentieth of a second, levels, clipping
frames          what stands out in each short frame of a channel; clipped samples
tone            where the steady test tone is, or why there is none
swinging        the same for a tone that swings by up to 6 %: a belt that slips, sticks or is dented
plain           plain samples read straight from the file, each channel on its own
mixer           a tone mixed down, filtered and thinned as the blocks come in
follow          a tone's phase and envelope over time, dropouts masked
speed_trace     the speed of the tape over time, from that phase
level           what the level of a tone does besides
speed           mean speed error and drift
spread          how far a flutter reading would scatter over other stretches, and what the weighting table leaves open
bands           flat bands for unweighted readings: wow and flutter, together and apart
flutter         weighted and unweighted readings by IEC 60386
shares          how often a size is exceeded, counted in memory that does not grow
meter           sizes kept stretch by stretch; the quasi-peak meter for many stretches at once
trend           the straight line through a trace with gaps
beats           a second tone close by, told from flutter
drifting        lines that slow down or speed up as a reel does, followed in its own turns
line_fit        lines fitted to the phase, all together
near_lines      two lines near each other: told apart, or both named
lines           steady lines in the speed, each with size and doubt
line_spectrum   the spectrum that lines are sought in, against its local background
quick_lines     the strongest lines of a stretch, to let filters run through a dropout
averaged        the mean spectrum of a long tone's stretches, and the lines in it
reels           reel-borne lines followed from one end of the tape to the other
stretches       a long tone, read in stretches as it comes in
long_readings   readings of such a tone
events          what happens to the speed once, and is no line
in_angle        the speed over the turning angle of something, order by order
pack            what a reel's line says of its pack: radius, tape thickness, how much is wound
spectrum        weighted flutter over frequency, to be drawn
listening       every channel with a tone, while the file is read once
square          a computer's square wave; lines that come of sampling or of hum
remarks         what is said besides: why a tone cannot be followed after all, and what is odd
live            the same while the sound comes in, block by block
live_follower   a tone followed while it plays: what its last seconds read
live_pair       several tracks at once while they play: level, delay, azimuth, sum, response
live_pair_tones  the tones that stand now, on all channels, followed from moment to moment
live_pair_angle  what delays that come in say of the gaps: angle, wander, scatter
live_pair_delays  delays between channels, coarse to fine, and what a single tone leaves open
live_pair_sum   two tracks against each other, and the level of their sum
live_trend      whether what is followed live gets better or worse
test_tape       a test tape's own speed and flutter, taken out of what was read with it
side            a tone in several stretches: how the speed changes over a side
together        two tracks of the same tone read as one, where that is better
channel         what one channel says, put together
recording       measure_recording: all of the above for every channel of a file
overlapping     frames that overlap, cut as the blocks come in
slow_speed      slow speed change of a lower grade: the noun for it
hum_frames      mains hum in one frame: a comb, and each harmonic's place
hum_speed       hum on the tape told from hum that came in at playback; the speed it tells
partials        the peaks of a programme's frames, linked into tracks
voices          which partials may be one voice's
joint_fit       what all partials do in common, each note's own pitch and glide taken out
programme_speed  whether that is the tape, and the speed it tells
without_tone    measure_without_tone: slow speed change from hum and programme, on request only
sequence_mark   the synchronising mark of a test sequence: sweeps that sound the same at any speed
sequence_plan   which test sequences there are, and what stands on each
sequence_writing  a test sequence as a sound file
sequence_sweeps  sweeps of marks, found in every channel while a file is read once
sequence_marks  marks put together from sweeps; the chance that noise does that
sequence_content  whether a stretch holds what a section put there
sequence_timeline  where in a file the sections stand, from mark to mark; what was cut out
sequence_other_speed  a sequence at twice or half its speed, told by its marks
sequence_finding  find_sequence: a test sequence in a recording, whole or in pieces
settled         the mean of something that wavers, and how far it may be off
section_tone    the tone of one section of a test recording, on all tracks at once
levels          how strong a tone is on each track, and how the tracks balance
weighted        the middle of values that count unequally
runs_of_mask    from where to where a row of yes and no says yes without a break
askew           the geometry of gaps askew: from angle to delay and back
azimuth         how far the gaps stand askew, from delays between tracks, coarse to fine
replay_response  what each tone reads against the replay curve
losses          spacing, gap and azimuth by their laws, fitted to a response
crosstalk       how much of one track is heard on another; which channel is which
distortion      third harmonic against level, and the level at 3 %
weighted_noise  noise of a silent section, A-weighted and by ITU-R BS.468
hum_lines       mains hum of a silent section, harmonic by harmonic
erasure         how much of a tone is left after it was erased
dropouts_of_tone  dropouts: length by depth, on which tracks, and whether they come back with a rate
film_reading    frames out of a film: brightness alone, each with its own time, turned as it is watched
film_polar      a hub unrolled: harmonics over the angle, and the angle between two such pictures
film_runs       short runs of a film's frames laid over each other
film_turners    what turns about a point of its own in short runs of frames
film_hubs       the two hubs of a cassette in a film: found, or pointed at
film_shake      how each frame lies against the first, by what does not turn
film_turning    a hub's angle from frame to frame
film_ladder     all rates of one hub that would look the same, block by block
film_aliases    which of several rates a film shows, where teeth look alike
film_one_tape   which rates of two hubs can be on one tape
film_rates      turns per second out of angles, with their doubt
film_tape       what two hubs tell of the tape: speed, packs, thickness, position
film_events     what reels do besides turning evenly
film_watching   watch_reels: all of that for a film
film_two_hubs   the courses of two hubs on one tape, chosen together
film_run_down   when each hub stands after a key stopped the tape
film_run_up     a hub's way from standing to its rate, frame by frame
film_pieces     watch_pieces: several modes in one film, each with the packs that the one before left
one_pass_parts  the nouns of a one-pass reading
one_pass_capture  the sections of a capture: tones mixed down once each, crosstalk taken out
multitone       many tones at once: the response between others, and what stands between them
one_pass        read_one_pass: every reading of one pass of a test sequence
mechanism_frames  the sound of a mechanism cut into frames, with the background around each frequency
mechanism_comb  what a spectrum says for and against a comb of lines at multiples of a rate
mechanism_course  the likeliest course of one rotor through rates and silence
mechanism_runs  when something turned and at what rate: all runs of all rotors, the plainest first
mechanism_trust  how sure a comb is, held against combs out of step over the same sound
mechanism_modes  which mode each moment belongs to, and when the machine was off
mechanism_motors  the motors of one recording: when each turned, how fast, how sure that is
mechanism_silence  what was expected to turn and was not heard, and whether it would have been
mechanism_open  what a recording of a mechanism leaves open, in sentences
mechanism_rate  the rate of something heard, its doubt, how much it wavers
mechanism_edges  when something begins or ends to sound
mechanism_tones  tones that stand out of their critical band, frame by frame
mechanism_chirps  chirps under a loud mechanism: a tone that comes and goes at one pitch
mechanism_squeal  squeals and chirps among those tones, and how often they come back
mechanism_swell  how a squeal swells once a turn, and a stroke that rises at once
mechanism_bands   the loudness of a mechanism in bands over time
mechanism_clicks  clicks of keys, lids and solenoids
mechanism_marks  when the steps of a minute were done, from clicks and changes of loudness
mechanism_repeats  knocks and rubbing that come back at a rate
mechanism_falter  a rustle that falters, as of a take-up that slips
mechanism_hum   mains hum: found, and taken out where the room was heard alone
mechanism_disturbances  speech, a phone's processing, a codec's band, clipping
mechanism_picture  how loud a recording is at each frequency and moment, to be drawn
mechanism       hear_mechanism: all of these for one recording
"""
