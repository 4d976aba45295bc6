"""The record of every rep: what is kept, the file it is kept in, and ways in and out of it."""
