"""Planning a load: what is asked, what stands against it, what can be chosen."""
