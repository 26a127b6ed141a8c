"""Dates in Spanish."""

DATE_FORMAT = r"j \d\e F \d\e Y"
SHORT_DATE_FORMAT = "j M Y"
DATETIME_FORMAT = r"j \d\e F \d\e Y, H:i"
SHORT_DATETIME_FORMAT = "j M Y, H:i"
TIME_FORMAT = "H:i"
