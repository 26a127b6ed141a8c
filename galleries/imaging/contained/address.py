"""Where children come from: set once at the start, before the first is asked."""

socket = ""  # path of the service manager's socket that hands out a child for each connection; "": start them here
