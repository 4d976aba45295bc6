"""The page about a session: what is chosen from the record, what is said of it, how it is drawn."""
