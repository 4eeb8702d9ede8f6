"""Grammars composed for a scope, words to meanings, patience, phrasing."""
