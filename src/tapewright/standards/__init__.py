"""Floor 1: numbers from published documents, one file per document, the printed table beside it.

iec_60386   weighted peak flutter: test tone, weighting, two-sigma and quasi-peak readings
iec_60094   the cassette format: speeds, tape, tracks, hubs, pad force
din_45500   limits for home equipment: speed and flutter
nab         the average-responding reading of older meters and service sheets
figures     Figure: a published number and how surely it is known
tables      reads a printed table from `tables/*.csv`

Every number has one owner and says how it is known: `Figure.basis`.
"""
