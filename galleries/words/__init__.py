"""What the pure packages tell by code and data, in the reader's language: the one place where it becomes words."""
