"""Pages: parse, ask, call one verb, show."""
