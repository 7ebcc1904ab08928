"""What a caregiver goes through with the page: who, what today, the voice, the sound, the session, what was done."""
