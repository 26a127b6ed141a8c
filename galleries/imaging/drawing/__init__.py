"""What is drawn over pictures: the proof stamp, borders, the strip with the name."""
