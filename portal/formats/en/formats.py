"""Dates in English with the month in letters: read alike on both sides of the Atlantic. Hours by 24."""

DATE_FORMAT = "j F Y"
SHORT_DATE_FORMAT = "j M Y"
DATETIME_FORMAT = "j F Y, H:i"
SHORT_DATETIME_FORMAT = "j M Y, H:i"
TIME_FORMAT = "H:i"
