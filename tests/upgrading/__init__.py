"""What an earlier release left behind is taken over and works on: rows and files made by that release's own code."""
