"""Files on disk: TIFF structure and pixels, safe moves, bags."""
