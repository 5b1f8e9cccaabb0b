"""Accounts, roles, sign-in and signatures."""
