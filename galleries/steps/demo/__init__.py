"""The demo: an invented sitting taken through by the same verbs as any."""
