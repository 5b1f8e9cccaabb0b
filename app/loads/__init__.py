"""Loads: plan, bag checks, furnace records and unwrapping."""
