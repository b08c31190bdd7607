"""Image in, image out: where parts lie, how they are blended, cropped and proofed. No paths, no limits."""
