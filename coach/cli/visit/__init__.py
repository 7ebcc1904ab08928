"""The steps of a caregiver with the page: who trains, today's plan, the words, the sound, the session, the summary."""
