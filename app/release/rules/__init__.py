"""What a panel's evidence says, and where the panel stands. Pure: facts in, gates out."""
