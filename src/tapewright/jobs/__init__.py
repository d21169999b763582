"""Floor 5: the work, done and kept.

evidence_file  what was noticed and measured, read from and written to a file
rounds         evidence before and after repairs
examine        the one pipeline: description + evidence + recordings -> Record
stretches_heard  other stretches of tone, and channels read as one, as notes and data
mechanism_heard  which motors may turn in which mode; a recording of a mechanism listened to; marks read
one_pass       a test sequence in a recording, looked for and read
pass_rates     at which rates to look for what touches the tape
pass_readings  what a pass said, as readings for the diagnosis
pass_said      a one-pass reading as data that travels, by name, track and tone
pass_changes   a test sequence before and after
acceptance     every reading of a pass against its limit: the machine's sheet, else DIN 45500 part 4
setting_up     how a machine is set up: its adjustments in the order of what they disturb
setting_up_steps  every adjustment there is, and what it moves besides
setting_up_conflicts  what pulls against what, and what is never turned
setting_up_stop  when to stop turning
setting_up_live  the one number that a step is followed by
setting_up_kept  what came of each step, kept in the job
reels_seen     a film of the hubs, watched with the machine's description at hand
verdicts       which limit holds for a reading, and whether it is kept
tape_register  the register of test tapes and the sound card's clock, read from its text
test_tapes     what a recording was made with; the passes of each test tape counted
compare        before and after: what changed, and whether it is more than doubt
guided_minute  what a guided minute can reveal of a machine
guided_minute_score  how often it alone puts the part at fault first
guided_minute_marks  when each of its steps was done, checked, and as a note beside the file
guided_minute_film  its film, both hubs followed through it in one go, each step watched for itself
owner_sheet    what an owner is asked from afar, and what each way through it comes to
owner_code     the short code the answers come back in
hand_over      what leaves the shop with a machine
machine_history  the same machine over the years: trends of readings and lines
ask            the same as a conversation, one check at a time
practise    pairs of invented minutes for ears to train on, and their truth
practise_told  what one minute does otherwise than another, and when
closing        close a job: what it teaches, and what had been predicted
home           where a user's data lie
people         who may come to the bench: name, role and password
knowledge      the shop's closed jobs as one text file, to be read, edited and merged
shop           close a job into the file, look at it, put others to it
bench_job      a job on the bench as a value: answers, skips, recordings
store/         jobs in a database, their files beside it
faults_list    every fault with the signs it leads to
describing     start and check a description
sizing         sizes to order, from the bench and the stock list
demo           the main job on an invented machine, end to end
"""
