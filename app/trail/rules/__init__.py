"""What is judged of the trail without asking any record: its heads' text, and what stands out."""
