"""Dates and times on screens and labels: one form, read alike on both sides of the ocean."""

DATE_FORMAT = "j M Y"
MONTH_DAY_FORMAT = "j F"
TIME_FORMAT = "H:i"
DATETIME_FORMAT = "j M Y, H:i"
