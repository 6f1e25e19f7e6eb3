"""Complex quantities with their effects; coverage, significance, intervals."""
