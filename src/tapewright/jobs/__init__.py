"""Floor 5: the work, done and kept.

evidence_file  what was noticed and measured, read from and written to a file
rounds         evidence before and after repairs
examine        the one pipeline: description + evidence + recordings -> Record
ask            the same as a conversation, one check at a time
demo           the main job on an invented machine, end to end
"""
