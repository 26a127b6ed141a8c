"""Who is let in, and the letters they get."""
