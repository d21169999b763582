"""Floor 6: the bench page, a thin door over the same functions as the command line. Nothing is worked out here.

serve       begin: find the port free, say the address, end cleanly
app         which address leads to what
door        who may come in: this computer's own pages only
forms       what a form sent, read as it arrives
uploads     files on their way to the disk, bounded, gone when they fail
workbench   jobs in hand: one change at a time, recordings measured beside the page, findings kept
views       what each page shows, as plain data
pages       plain data into HTML
templates/  the pages
static/     the one style sheet and the one script, both our own
"""
