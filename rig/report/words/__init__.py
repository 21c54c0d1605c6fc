"""Answers as people read them: sentences, tables, a value with its ±, and how a picture is kept."""
