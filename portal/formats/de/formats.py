"""Dates in German."""

DATE_FORMAT = "j. F Y"
SHORT_DATE_FORMAT = "j. N Y"
DATETIME_FORMAT = "j. F Y, H:i"
SHORT_DATETIME_FORMAT = "j. N Y, H:i"
TIME_FORMAT = "H:i"
