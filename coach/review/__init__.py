"""What is read away from the session: the handout for the wall, and what the records of a person or a clinic tell."""
