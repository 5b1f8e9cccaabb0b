"""The bench: sessions, checks on reference blocks, readings and verdicts on coupons."""
