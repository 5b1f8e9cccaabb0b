"""Witness coupons and their readings (section 3)."""
