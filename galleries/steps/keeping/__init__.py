"""How long things stay, archives and erasing, stray copies, upkeep."""
