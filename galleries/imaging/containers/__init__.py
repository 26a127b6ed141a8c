"""The parts of JPEG and TIFF files, and libvips set up once."""
