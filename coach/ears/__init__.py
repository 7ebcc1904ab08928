"""The ears: what was said, by taught words, by voice activity, by keys."""
