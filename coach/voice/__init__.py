"""The coach's voice: the wording of a language, speech rendered before it is needed, clips kept on the disk."""
