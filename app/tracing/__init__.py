"""Reads everything, decides nothing: Today, search, the dossier, the trail page."""
