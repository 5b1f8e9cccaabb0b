"""What a bench session allows, which readings count, what cannot be, and the verdict. Pure."""
