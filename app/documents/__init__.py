"""Files that come in and go out: the JSON papers of judging, and a logger's CSV."""
