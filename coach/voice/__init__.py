"""The coach's voice: wording of a language, speech rendered ahead of need, clips kept for the next time."""
