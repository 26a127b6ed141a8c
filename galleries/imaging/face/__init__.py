"""What a face tells of a frame: where it is, its eyes, its tones. Never who it is."""
