"""The work that a user asks for, from files to results: each command is one call here."""
