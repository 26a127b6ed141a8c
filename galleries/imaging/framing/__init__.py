"""Geometry of crops: rectangles, delivery sizes, the proposal of a crop."""
