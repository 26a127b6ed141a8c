"""Dates in Spanish."""

DATE_FORMAT = r"j \d\e F \d\e Y"
SHORT_DATE_FORMAT = "j b Y"  # months have no capital in Spanish
DATETIME_FORMAT = r"j \d\e F \d\e Y, H:i"
SHORT_DATETIME_FORMAT = "j b Y, H:i"
TIME_FORMAT = "H:i"
