"""Floor 6: the bench page, a thin door over the same functions as the command line. Nothing is worked out here.

serve       begin: find the port free, say the address, end cleanly
app         which address leads to what, and what is said when something is wrong
door        who may come in: pages of this bench only
reach       from where the bench can be reached: this computer, or a network
settings    how a shop always opens its bench
guard       who is at the page, and whether they may do what they ask
sessions    who is signed in, and how often somebody may try
signing_in  sign in and out; who is at the bench
present     who is at the page being made; what each role may do
asking      what every page needs: whose bench, which job, what was typed, where to lead next
counter     the list of jobs; a machine comes in; its ticket
checks      the next check, what was noticed, the suspects on the drawing
recordings  recordings put in, measured beside the page, read
stretch     a stretch of a recording, chosen by hand
live        sound from the browser, read while it plays
setting_up  heads and levels set, step by step
live_set_up  sound from the browser, read for one such step
minute      the guided minute: its steps, its files, what each says
minute_live  a guided minute as it happens
minute_desk  guided minutes listened to beside the page; findings ready for the job
minute_senses  what that desk listens and looks with
findings    what speaks for and against each suspect; the plan; what leaves the bench as files
proving     before and after
moving      all jobs out as one zip, and those of such a zip in
years       the same machine over the years
jobsheet    what was agreed, used and done; photos; every step with its undo
pictures    what kind of picture a file is, and how large when unpacked
forms       what a form sent, read as it arrives
uploads     text files that arrive with a form, and how large a file may be
workbench   jobs in hand: recordings measured beside the page, findings worked out once and kept
drawn       drawings and charts, drawn once and kept
views       what each page shows, as plain data
pages       plain data into HTML
templates/  the pages
static/     style sheets and scripts, all our own
"""
