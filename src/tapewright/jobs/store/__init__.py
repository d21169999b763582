"""Jobs in a database, their files beside it (decision 17).

nouns       what a job holds: Particulars, Owner, the things added, Sheet, Step, Page
values      values checked at the door; plain data and columns
rules       what cannot be meant
models      the tables
migrations/ how the tables came to be, run at opening
database    SQLite or PostgreSQL, up to date, one writer at a time
history     steps that are only ever added, and how a job stands after them
steps       what one step gathers; undo and redo
files       files under their checksums
reading     a sheet, pages of the list, a history in words
opened      Store: everything a page asks
erasing     an owner's data gone for good
exporting   jobs into a zip that a person can read
importing   jobs out of such a zip, none of it believed
backup      a copy of the database once a day
old_folders jobs as earlier versions kept them, read and never written
takeover    jobs of earlier versions, taken over once
sums        the ticket, what a job comes to, what its findings are worked out from
"""
