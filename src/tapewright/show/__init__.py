"""Floor 5: for eyes. Charts are numbers until here; nothing is worked out here that another room could hand over.

said        results in a technician's words: shares, readings, costs, how a part is out of order
columns     paragraphs and tables of plain text, no wider than the page
tables      rates, margins, sizes, signs and faults as plain text
force_tables  what forces and sizes say
sizing_text  what to order
text        the report for a terminal, and its parts
without_tone_text  slow speed change without a test tone, under a grade of its own
provenance  where a record's numbers come from: what is invented, what stands in, what is from memory
labels      where the names in a drawing go
standing    where every shaft stands: measured, or found along the drives
routes      how a belt is drawn: free spans and arcs
turning     which way every shaft turns, where the description tells
scene       what a drawing is made from
glyphs      the pieces of a drawing
tape_glyphs  those of the tape and the head base
names_drawn  its names: what stands on each, and where
drawing     the mechanism as one picture
chain       the way from a fault to a sign, drawn on the mechanism
chain_places  where its steps stand
svg         pieces of SVG as text
lines_said  whose a line is, what happened once, which orders stand over the tape
order_chart  orders over the tape as a picture
plotting    what matplotlib draws, in the house's form
charts      numbers -> SVG: speed, spectrum, beliefs
knowledge_text  what a shop has learnt, and a job just closed
question    the next question of a conversation
paper       pages that need nothing beside them
comparing   before and after: as text, on one plot, as a page
guided_minute  the steps of a guided minute as a page's script leads through them
owner_page  the owner's sheet as one file
acceptance_rows  the acceptance in rows and sentences
one_pass_charts  one pass as pictures: response, azimuth, crosstalk, dropouts
one_pass_shown  one pass set out for the bench, and for the owner
sections    headings with texts, pictures and tables, for page, paper and bench
mechanism_text  what was heard of a mechanism
mechanism_chart  a recording of a mechanism as a picture, with what was heard marked on it
one_pass_text  what a test sequence said
setting_up_text  how a machine is set up
setting_up_live  what is read live while it is set up, as lines of words
sequence_sheet  the sheet that goes with a test sequence, as text and as a page
practise_page  the page on which ears are trained
channels_beside  of several channels the clearest in full, the others beside it
handing_over  the hand-over for the owner and for the bench, as a page and on paper
reels_text  what a film of the hubs told, as text
reels_picture  the same as pictures: rates over time, a frame with the hubs marked
trends      a machine over the years
report      the report as one file of HTML, and the folder that holds it
templates/  the pages that `paper` gives to be filled in
"""
