// Filled by the sheet's own part; see below.
