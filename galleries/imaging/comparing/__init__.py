"""A picture against another: the frame of a retouch, and whether the face kept its shape."""
