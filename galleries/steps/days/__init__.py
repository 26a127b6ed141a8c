"""A day of many sitters: planned from a list, its cards put into the sittings, shown and reminded of together."""
