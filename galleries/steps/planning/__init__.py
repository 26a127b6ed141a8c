"""The plan: a sitting set up, reference pictures, what people say about it."""
