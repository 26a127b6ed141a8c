"""The number of each recipe for derived pictures: light, since every page that names one reads it."""

# Part of every derived picture's key: raise a recipe's number when the same input would give other bytes. `final` is
# part of what each delivered file hangs on as well.
VERSIONS = {"proof": 11, "view": 1, "loupe": 2, "preview": 2, "marked": 1, "pairs": 1, "final": 4}

# Of what is read from a frame; 2: features of mouth and brows.
READER_VERSION = 2
