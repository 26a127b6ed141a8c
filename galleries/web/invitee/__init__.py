"""The pages of somebody invited."""
