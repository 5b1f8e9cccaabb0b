"""The trail as work: what stands out, reviews of it, and signed heads to keep outside."""
