"""Words: phrases that are said, replies that are heard."""
