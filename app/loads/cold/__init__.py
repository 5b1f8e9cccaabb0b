"""Where it was cold: the coloured plan, a furnace's history, its survey beside."""
