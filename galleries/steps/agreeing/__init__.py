"""From two people's marks to one closed list, and the list for the editor."""
