"""A moment of a recording as one reads it off a player: minutes, seconds, tenths."""


def clock(seconds: float) -> str:
    """Write a time as minutes and seconds.

    Arguments:
        seconds: from the beginning; rounded to a tenth before the minutes are taken out.

    >>> clock(153.04), clock(9.96), clock(59.97)
    ('2:33.0', '0:10.0', '1:00.0')
    """
    tenths = round(10.0 * seconds)
    return f"{tenths // 600}:{tenths % 600 // 10:02d}.{tenths % 10}"
