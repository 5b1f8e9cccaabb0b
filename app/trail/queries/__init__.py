"""What is read of the trail: its entries, its heads, its exceptions and their reviews."""
