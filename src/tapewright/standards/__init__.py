"""Floor 1: numbers from published documents, one file per document, the printed table beside it.

iec_60386   weighted peak flutter: test tone, weighting, two-sigma and quasi-peak readings
iec_60094   the cassette format: speeds, tape, tracks, hubs, pad force
din_45500   limits for home equipment: speed, flutter, response, noise, crosstalk, balance, erasure
nab         the average-responding reading of older meters and service sheets
alignment   how close heads and levels are set: service practice, calibration tapes
contact_laws  spacing, gap, lean and sum of tracks: what each takes away, in wavelengths
replay_curve  IEC 60094-1: flux on the tape over frequency, and what the other tape switch makes of it
iec_61672   A-weighting, with the limits of sound level meters
itu_bs468   weighting and quasi-peak detector for noise, by ITU-R BS.468
weighting   a weighting network applied to samples, on the spectrum, right at any sample rate
figures     Figure: a published number and how surely it is known
tables      reads a printed table from `tables/*.csv`

Every number has one owner and says how it is known: `Figure.basis`.
"""
