"""The photographer's pages."""
