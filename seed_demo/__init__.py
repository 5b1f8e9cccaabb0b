"""The invented demonstration scenario: its shop, its furnace physics and its records.

Everything here is made up: firm, people, alloys, limits and constants. Nothing in ``app`` rests on
it.
"""
